"""Machines with their legs, spec, standing place and present status."""

from django.db import models

from collection.models.base import (
    MOST_VERSION,
    Editable,
    OrganizationQuerySet,
    Recorded,
    Row,
    in_range,
    one_of,
    texts_fit,
)

BODIES = ("standard", "wide", "other")
ERAS = ("electromechanical", "early_solid_state", "modern")
BODY_WORDS = {"standard": "standard body", "wide": "wide body", "other": "body of its own size"}
ERA_WORDS = {"electromechanical": "electromechanical", "early_solid_state": "early solid-state", "modern": "modern"}
LEGS = ("FL", "FR", "RL", "RR")
STEPS_PER_TURN = (2, 4, 6, 8)


class Machine(Editable):
    """A pinball machine. Its code is a label of the owner's, unique in the organization."""

    code = models.CharField(max_length=20)
    title = models.CharField(max_length=80)
    era = models.CharField(max_length=20, default="modern")
    body = models.CharField(max_length=10, default="standard")
    track_front_mm = models.FloatField()
    track_rear_mm = models.FloatField()
    base_mm = models.FloatField()
    lead_mm = models.FloatField()
    steps_per_turn = models.PositiveSmallIntegerField(default=4)
    on_dollies = models.BooleanField(default=False)
    bay = models.ForeignKey("collection.Bay", on_delete=models.PROTECT, null=True, blank=True, related_name="machines")
    pitch_offset_deg = models.FloatField(default=0)
    roll_offset_deg = models.FloatField(default=0)
    u_pitch_offset_deg = models.FloatField()
    u_roll_offset_deg = models.FloatField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organization", "code"], name="machine_code_unique"),
            one_of("machine", "era", ERAS),
            one_of("machine", "body", BODIES),
            in_range("machine", "track_front_mm", 200, 2000),
            in_range("machine", "track_rear_mm", 200, 2000),
            in_range("machine", "base_mm", 400, 3000),
            in_range("machine", "lead_mm", 0.5, 5),
            in_range("machine", "steps_per_turn", 1, 8),
            in_range("machine", "pitch_offset_deg", -10, 10),
            in_range("machine", "roll_offset_deg", -5, 5),
            in_range("machine", "u_pitch_offset_deg", 0, 10),
            in_range("machine", "u_roll_offset_deg", 0, 5),
            in_range("machine", "version", 1, MOST_VERSION),
            texts_fit("machine", code=20, title=80),
        ]
        indexes = [models.Index(fields=["organization", "title"], name="machine_by_title")]

    def __str__(self) -> str:
        return self.title

    @property
    def body_words(self) -> str:
        """The body as pages show it."""
        return BODY_WORDS[self.body]

    @property
    def era_words(self) -> str:
        """The era as pages show it."""
        return ERA_WORDS[self.era]

    @property
    def step_turns(self) -> float:
        """The least turn of a leveler that a plan asks for."""
        return 1 / self.steps_per_turn


class Leg(Row):
    """One of a machine's four legs with its leveler. The exposure is empty while nobody has measured it."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="legs")
    place = models.PositiveSmallIntegerField()
    length_mm = models.FloatField()
    travel_mm = models.FloatField()
    exposure_mm = models.FloatField(null=True, blank=True)
    pad_mm = models.FloatField(default=0)

    class Meta:
        ordering = ["place"]
        constraints = [
            models.UniqueConstraint(fields=["machine", "place"], name="leg_once_per_corner"),
            in_range("leg", "place", 0, 3),
            in_range("leg", "length_mm", 100, 1500),
            in_range("leg", "travel_mm", 1, 200),
            in_range("leg", "exposure_mm", 0, 200),
            in_range("leg", "pad_mm", 0, 100),
        ]

    @property
    def name(self) -> str:
        """FL, FR, RL or RR."""
        return LEGS[self.place]


class Spec(Recorded):
    """What a machine should read, from when on, and why. The newest one counts."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="specs")
    pitch_deg = models.FloatField()
    pitch_tolerance_deg = models.FloatField()
    roll_tolerance_deg = models.FloatField()
    gap_tolerance_mm = models.FloatField()
    why = models.CharField(max_length=400)

    class Meta:
        constraints = [
            in_range("spec", "pitch_deg", 0, 15),
            in_range("spec", "pitch_tolerance_deg", 0.02, 3),
            in_range("spec", "roll_tolerance_deg", 0.02, 3),
            in_range("spec", "gap_tolerance_mm", 0.05, 10),
            texts_fit("spec", why=400),
        ]
        indexes = [models.Index(fields=["machine", "created_at"], name="spec_latest")]


class Standing(Recorded):
    """A machine was put on a bay, or taken off the floor (no bay).

    ``elsewhere`` is set where the bay is not for the reader to know.
    """

    elsewhere = False

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="standings")
    bay = models.ForeignKey("collection.Bay", on_delete=models.PROTECT, null=True, blank=True, related_name="standings")
    why = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            texts_fit("standing", why=400),
        ]
        indexes = [models.Index(fields=["machine", "created_at"], name="standing_latest")]


VERDICTS = ("never", "out", "borderline", "in")


class MachineStatus(models.Model):
    """What lists show of a machine: kept by the actions, remade from the record at any time."""

    machine = models.OneToOneField(Machine, on_delete=models.CASCADE, primary_key=True, related_name="status")
    organization = models.ForeignKey("collection.Organization", on_delete=models.PROTECT, related_name="+")
    verdict = models.CharField(max_length=10, default="never")
    chance = models.FloatField(null=True, blank=True)
    survey = models.ForeignKey("collection.Survey", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    spec = models.ForeignKey(Spec, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    plan = models.ForeignKey("collection.Plan", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    next_step = models.CharField(max_length=200, blank=True)
    moved_since_survey = models.BooleanField(default=False)
    #: From when on the chance of being out of spec is too large, and what shows it first; empty if nothing is foretold.
    due_at = models.DateTimeField(null=True, blank=True)
    due_quantity = models.CharField(max_length=5, blank=True)
    #: What was reported through the label and waits for an answer, in words; and since when.
    reported = models.CharField(max_length=80, blank=True)
    reported_at = models.DateTimeField(null=True, blank=True)

    objects = OrganizationQuerySet.as_manager()

    class Meta:
        constraints = [
            one_of("machinestatus", "verdict", VERDICTS),
            one_of("machinestatus", "due_quantity", ("", "pitch", "roll", "gap")),
            in_range("machinestatus", "chance", 0, 1),
            texts_fit("machinestatus", next_step=200, reported=80),
        ]
        indexes = [
            models.Index(fields=["organization", "verdict"], name="status_by_verdict"),
            models.Index(fields=["organization", "due_at"], name="status_by_due"),
        ]
