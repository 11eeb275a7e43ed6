"""Leg plans: what to turn, what was turned, and the sign-off."""

from django.db import models

from collection.models.base import MOST_VERSION, Editable, Recorded, in_range, one_of, texts_fit

OUTCOMES = ("in_spec", "plan", "nothing_fits")
STATES = ("open", "turned", "signed_off", "set_aside")
SOURCES = ("survey", "floor")
TASKS = ("locknuts", "read_again", "tilt_bob", "feet_marked")


class Plan(Editable):
    """Turns for each leg in lifting order, with what the playfield should read afterwards.

    ``inputs`` holds what the engine was given and ``answer`` what it said, so that the plan can be computed again.
    """

    machine = models.ForeignKey("collection.Machine", on_delete=models.PROTECT, related_name="plans")
    survey = models.ForeignKey(
        "collection.Survey", on_delete=models.PROTECT, null=True, blank=True, related_name="plans"
    )
    spec = models.ForeignKey("collection.Spec", on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=10)
    outcome = models.CharField(max_length=12)
    state = models.CharField(max_length=12, default="open")
    inputs = models.JSONField()
    answer = models.JSONField()
    engine_version = models.CharField(max_length=20)
    turned_at = models.DateTimeField(null=True, blank=True)
    signed_off_at = models.DateTimeField(null=True, blank=True)
    signed_off_by = models.ForeignKey(
        "collection.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    tasks_done = models.JSONField(default=list)
    remark = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            one_of("plan", "source", SOURCES),
            one_of("plan", "outcome", OUTCOMES),
            one_of("plan", "state", STATES),
            models.CheckConstraint(
                condition=~models.Q(state="signed_off") | models.Q(signed_off_at__isnull=False),
                name="plan_signed_off_has_a_time",
            ),
            in_range("plan", "version", 1, MOST_VERSION),
            texts_fit("plan", engine_version=20, remark=400),
        ]
        indexes = [models.Index(fields=["machine", "-created_at"], name="plan_latest")]


class PlanLeg(Recorded):
    """One leg of a plan: whole steps out (+) or in (-), and in which lift."""

    plan = models.ForeignKey(Plan, on_delete=models.PROTECT, related_name="legs")
    place = models.PositiveSmallIntegerField()
    steps = models.IntegerField()
    steps_per_turn = models.PositiveSmallIntegerField()
    lift = models.PositiveSmallIntegerField(null=True, blank=True)
    height_mm = models.FloatField()

    class Meta:
        ordering = ["place"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "place"], name="planleg_once_per_corner"),
            in_range("planleg", "place", 0, 3),
            in_range("planleg", "steps", -2000, 2000),
            in_range("planleg", "height_mm", -200, 200),
            in_range("planleg", "steps_per_turn", 1, 8),
            in_range("planleg", "lift", 1, 4),
        ]

    @property
    def turns(self) -> float:
        """Turns, out positive."""
        return self.steps / self.steps_per_turn


class Adjustment(Recorded):
    """What was really turned at one leg in one lift of a plan: turns, out positive."""

    plan = models.ForeignKey(Plan, on_delete=models.PROTECT, related_name="adjustments")
    place = models.PositiveSmallIntegerField()
    lift = models.PositiveSmallIntegerField()
    turns = models.FloatField()
    text = models.CharField(max_length=24)
    lead_mm = models.FloatField()
    turned_at = models.DateTimeField()  # created_at is when it reached us: a phone may have had no connection

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["plan", "place"], name="adjustment_once_per_leg"),
            in_range("adjustment", "place", 0, 3),
            in_range("adjustment", "turns", -200, 200),
            in_range("adjustment", "lift", 1, 4),
            in_range("adjustment", "lead_mm", 0.1, 20),
            texts_fit("adjustment", text=24),
        ]
