"""What somebody without an account tells of a machine, and the secret address on its label that lets them."""

import base64

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.crypto import salted_hmac

from collection.models.base import OrganizationQuerySet, Row, hash_of, in_range, one_of, texts_fit

PROBLEM_WORDS = {
    "moved": "moved",
    "rolls_left": "rolls left",
    "rolls_right": "rolls right",
    "too_steep": "too steep",
    "wobbles": "wobbles",
}
PROBLEMS = tuple(PROBLEM_WORDS)
#: One an hour for a century.
MOST_TIMES = 1_000_000

_DONE = Q(closed_at__isnull=False, closed_by__isnull=False)
_OPEN = Q(closed_at__isnull=True, closed_by__isnull=True, closed_by_survey__isnull=True, closed_why="")
_ANSWERED = _DONE & Q(closed_by_survey__isnull=False, closed_why="")
_CLOSED = _DONE & Q(closed_by_survey__isnull=True) & ~Q(closed_why="")


class ReportLink(Row):
    """The secret address that a machine's label carries. One stands at a time; an ended one leads nowhere.

    The secret is made of the row's key and the server's own secret key, 256 bits, so that a label can be printed again
    though the database holds a digest of it alone.
    """

    machine = models.ForeignKey("collection.Machine", on_delete=models.PROTECT, related_name="report_links")
    token_sha256 = models.CharField(max_length=64, unique=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            texts_fit("reportlink", token_sha256=64),
            models.UniqueConstraint(
                fields=["machine"], condition=Q(ended_at__isnull=True), name="reportlink_one_stands"
            ),
        ]

    @property
    def token(self) -> str:
        """The secret in the address, as the server's secret key makes it, or the former one if that made the label."""
        made = [_secret(str(self.pk), key) for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)]
        return next((each for each in made if hash_of(each) == self.token_sha256), made[0])

    @property
    def can_be_printed(self) -> bool:
        """Whether the secret is still known: under a new secret key only the labels on the machines know it."""
        return hash_of(self.token) == self.token_sha256


class Report(models.Model):
    """One problem of one machine, told through its label by nobody we know, so there is no author.

    It is open until a survey answers it or a member closes it with the reason. Told again meanwhile, it is the same
    report: ``times`` counts, ``told_at`` is the last time.
    """

    id = models.UUIDField(primary_key=True, editable=False)
    organization = models.ForeignKey("collection.Organization", on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    machine = models.ForeignKey("collection.Machine", on_delete=models.PROTECT, related_name="reports")
    link = models.ForeignKey(ReportLink, on_delete=models.PROTECT, related_name="reports")
    problem = models.CharField(max_length=12)
    told_at = models.DateTimeField()
    times = models.PositiveIntegerField(default=1)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey("collection.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    closed_why = models.CharField(max_length=400, blank=True)
    closed_by_survey = models.ForeignKey(
        "collection.Survey", on_delete=models.PROTECT, null=True, blank=True, related_name="reports"
    )

    objects = OrganizationQuerySet.as_manager()

    class Meta:
        constraints = [
            one_of("report", "problem", PROBLEMS),
            in_range("report", "times", 1, MOST_TIMES),
            texts_fit("report", closed_why=400),
            models.CheckConstraint(condition=Q(told_at__gte=F("created_at")), name="report_told_after_it_began"),
            models.CheckConstraint(condition=_OPEN | _ANSWERED | _CLOSED, name="report_open_or_closed_by_one"),
            models.UniqueConstraint(
                fields=["machine", "problem"], condition=Q(closed_at__isnull=True), name="report_open_once"
            ),
        ]
        indexes = [models.Index(fields=["link", "created_at"], name="report_by_link")]

    @property
    def problem_words(self) -> str:
        """The problem as members read it."""
        return PROBLEM_WORDS[self.problem]


def _secret(row: str, key: str) -> str:
    digest = salted_hmac("collection.reports.label", row, secret=key, algorithm="sha256").digest()
    return base64.urlsafe_b64encode(digest).decode().rstrip("=")
