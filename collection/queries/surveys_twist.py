"""Roll at the front and at the rear of a survey, and whose twist it is: told from two surveys of one machine."""

from dataclasses import dataclass

from django.db import models
from django.db.models import Exists, OuterRef

from collection.arrays.surveys import recomputed
from collection.arrays.surveys_twist import FRONT, REAR, Ends, TwistTold, end_rolls, end_tilts, ends_of, twist_told
from collection.models import Reading, Survey
from collection.presets import K95
from collection.queries.surveys import SurveyPage

#: So many surveys of the other stance are looked through for one that was read at the same spots.
MOST_OTHERS = 5
#: The stances in which all four feet may bear.
BEARING = ("all_bearing", "weighed")

HEADLINES = {
    "neither": "Neither board nor cabinet is twisted.",
    "board": "The board is twisted.",
    "cabinet": "The cabinet was wrung by its feet.",
    "both": "The board is twisted, and the cabinet was wrung by its feet.",
    "cannot_tell": "Whose twist it is cannot be told yet.",
}
REASONS = {
    "neither": "What is left is too small to feel in play.",
    "board": "It stays now that all four feet bear. Turning legs does not change a twisted board.",
    "cabinet": "That went when all four feet bore: keep them bearing, and judge roll only then.",
    "both": "Part of it went when all four feet bore. The rest is the board’s: turning legs does not change that.",
    "cannot_tell": "Read across at the front and at the rear again, several times each, the level laid down afresh.",
}


@dataclass(frozen=True)
class EndsPage:
    """Roll at both ends of one survey and, with a survey of the other stance, whose twist it is."""

    survey: Survey
    ends: Ends
    other: Survey | None = None
    told: TwistTold | None = None

    @property
    def spread_deg(self) -> float:
        """Half of the interval of the difference that holds 95 %."""
        return K95 * self.ends.u_difference_deg

    @property
    def means(self) -> str:
        """What a difference means as the machine stood, while no other survey tells; "" without a difference."""
        if not self.ends.differ:
            return ""
        then = "Let all four feet bear, then read both ends again: what stays is the board’s."
        if self.survey.stood_on == "all_bearing" and not self.survey.light_foot:
            return (
                "All four feet bear, so this is the board’s own twist, or the cabinet was built so. "
                "Turning legs does not change it."
            )
        if self.survey.stance == "unknown":
            return f"Nobody checked the feet, so the cabinet may be wrung. {then}"
        hangs = "is light" if self.survey.stood_on == "all_bearing" else "hangs"
        return f"{self.survey.light_foot} {hangs}, so the cabinet may be wrung. {then}"

    @property
    def headline(self) -> str:
        """Whose twist it is, in one sentence."""
        return HEADLINES[self.told.outcome] if self.told else ""

    @property
    def reason(self) -> str:
        """Why it matters, or what would tell."""
        return REASONS[self.told.outcome] if self.told else ""

    @property
    def parts(self) -> list[tuple[str, float, float]]:
        """The board's part and the cabinet's: how the rear leans against the front, with half of its 95 % interval."""
        if self.told is None:
            return []
        told = self.told
        return [
            ("Board", told.board_deg, K95 * told.u_board_deg),
            ("Cabinet", told.cabinet_deg, K95 * told.u_cabinet_deg),
        ]

    @property
    def steps(self) -> list[tuple[Survey, Ends]]:
        """Both surveys with the ends as they counted, the light foot first."""
        if self.told is None or self.other is None:
            return []
        first, second = (self.survey, self.other) if self.survey.light_foot else (self.other, self.survey)
        return [(first, self.told.before), (second, self.told.after)]


def ends_page(*, page: SurveyPage) -> EndsPage | None:
    """Return what a survey says about roll at the front and at the rear; None if a level did not read both.

    Two queries more, and only where both were read.
    """
    survey, found = page.survey, page.answer.assessment
    if found is None:
        return None
    tilts = end_tilts(found, survey.inputs)
    rolls = end_rolls(tilts)
    if rolls is None:
        return None
    ends = ends_of(rolls)
    for other, others in [] if page.corrected_by else _others(survey):
        theirs = end_tilts(recomputed(other, others), other.inputs)
        before, after = (tilts, theirs) if survey.light_foot else (theirs, tilts)
        if told := twist_told(before=before, after=after):
            return EndsPage(survey, ends, other, told)
    return EndsPage(survey, ends)


def _others(survey: Survey) -> list[tuple[Survey, list[Reading]]]:
    """Surveys that may tell, the newest first, with their readings: all four bear later, or a foot was light before."""
    org = survey.organization_id
    rows = Survey.objects.for_org(org).filter(machine=survey.machine_id, corrections__isnull=True)
    if survey.light_foot:
        rows = rows.filter(light_foot="", stance__in=BEARING, measured_at__gt=survey.measured_at)
    elif survey.stance in BEARING:
        rows = rows.filter(measured_at__lt=survey.measured_at).exclude(light_foot="")
    else:
        return []
    across = Reading.objects.for_org(org).filter(survey=OuterRef("pk"), direction="across")
    rows = rows.filter(*(Exists(across.filter(spot__in=end)) for end in (FRONT, REAR))).select_related("spec")
    newest = list(rows.order_by("-measured_at", "-created_at", "-id").fetch_mode(models.FETCH_RAISE)[:MOST_OTHERS])
    read: dict[object, list[Reading]] = {other.pk: [] for other in newest}
    for reading in Reading.objects.for_org(org).filter(survey__in=newest).order_by("place"):
        read[reading.survey_id].append(reading)
    return [(other, read[other.pk]) for other in newest]
