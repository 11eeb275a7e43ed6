"""Reads about machines: everything one machine's page shows, and what its forms choose from."""

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import Exists, OuterRef, QuerySet

from collection.access import visible
from collection.arrays.machines import Marks, marks_of
from collection.models import Bay, Leg, Machine, Membership, Plan, Site, Spec, Standing, Survey
from collection.models.people import VIEWER
from collection.queries.forecasts import ForecastPage, forecast_page
from collection.queries.plans import plans_of, standing_surveys
from collection.queries.response import ResponsePage, record_of, response_of
from collection.queries.surveys import SurveyPage, answer_of

MOST_SURVEYS, MOST_PLANS, MOST_SPOTS, SHOWN_AT_ONCE = 60, 20, 6, 5
TURNED = "legs turned"
WORST_LAST = ("not_measured", "in", "borderline", "out")


@dataclass(frozen=True)
class Bar:
    """One quantity of a survey against the spec: slopes in degrees, the gap in mm."""

    kind: str
    value: float | None
    u: float
    tol: float
    verdict: str
    want: float = 0.0
    foot: str = ""


#: The pitch of one survey in the history: day, pitch [degree], its standard uncertainty, the mark on pitch.
PitchPoint = tuple[datetime.date, float, float, str]
#: Where one survey lies: roll, pitch, their standard uncertainties [degree], the worse mark of the two.
PlaneSpot = tuple[float, float, float, float, str]


@dataclass(frozen=True)
class MachinePage:
    """What the page of one machine shows beside the machine itself; ``how`` is the working of its newest survey."""

    bars: list[Bar]
    survey: Survey | None
    how: SurveyPage | None
    legs: list[Leg]
    specs: list[Spec]
    surveys: list[Survey]
    plans: list[Plan]
    standings: list[Standing]
    response: ResponsePage
    points: list[PitchPoint]
    spots: list[PlaneSpot]
    events: list[tuple[datetime.date, str]]
    forecast: ForecastPage | None

    @property
    def spec(self) -> Spec:
        """The spec that counts now."""
        return self.specs[0]

    @property
    def unfinished_plan(self) -> Plan | None:
        """The leg plan that is neither signed off nor set aside."""
        return next((each for each in self.plans if each.state in ("open", "turned")), None)

    @property
    def plan_in_hand(self) -> Plan | None:
        """The unfinished leg plan to go on with; None if a newer survey asks for another, or if it turns nothing."""
        plan = self.unfinished_plan
        if plan is None or plan.outcome != "plan":
            return None
        survey = self.survey
        follows = survey is None or plan.survey_id in (None, survey.pk) or survey.plan_id == plan.pk
        return plan if follows or plan.state == "turned" else None

    @property
    def newest_surveys(self) -> list[Survey]:
        """The surveys that show at once."""
        return self.surveys[:SHOWN_AT_ONCE]

    @property
    def is_turned_on_page(self) -> bool:
        """Whether the history shows when legs were turned."""
        return any(words == TURNED for _, words in self.events)

    @property
    def plane_label(self) -> str:
        """The pitch and roll drawing in one sentence, for people who do not see it."""
        return f"Pitch against roll, newest of {len(self.spots)} surveys with its 95 % ellipse, the spec as a box"

    @property
    def history_label(self) -> str:
        """The history in one sentence, for people who do not see it."""
        first, last = self.points[0][0], self.points[-1][0]
        surveys = f"{len(self.points)} survey{'s' if len(self.points) > 1 else ''}"
        return f"Pitch in {surveys} from {first:%-d %b %Y} to {last:%-d %b %Y}, the spec as a band{self._course_label}"

    @property
    def _course_label(self) -> str:
        return f", and where it may be until {self.forecast.band[-1][0]:%-d %b %Y}" if self.forecast else ""

    @property
    def exposures_mm(self) -> list[float | None]:
        """How far each leveler is out, in leg order."""
        return [leg.exposure_mm for leg in self.legs]

    @property
    def travels_mm(self) -> list[float]:
        """The travel of each leveler, in leg order."""
        return [leg.travel_mm for leg in self.legs]

    @property
    def unmeasured(self) -> list[str]:
        """The legs whose exposure nobody has measured."""
        return [leg.name for leg in self.legs if leg.exposure_mm is None]

    @property
    def padded(self) -> list[Leg]:
        """The legs that stand on a pad or cup."""
        return [leg for leg in self.legs if leg.pad_mm]


def machines_of(*, member: Membership, verdict: str = "", site: UUID | None = None) -> QuerySet[Machine]:
    """Return the live machines by title, each with its place, status, newest survey and spec, to reckon with."""
    rows = visible(member, Machine).filter(archived_at__isnull=True)
    if verdict:
        rows = rows.filter(status__verdict=verdict)
    if site:
        rows = rows.filter(bay__floor__site=site)
    return (
        rows.select_related("bay__floor__site", "status__survey", "status__spec", "status__plan")
        .order_by("title", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def bars_of(survey: Survey, spec: Spec, marks: Marks) -> list[Bar]:
    """Return the bars of pitch, roll and gap; the gap has no value where nobody checked the stance."""
    gap_mm = None if survey.stance == "unknown" else survey.gap_mm
    foot = survey.light_foot
    pitch, roll, u_pitch, u_roll = survey.pitch_deg, survey.roll_deg, survey.u_pitch_deg, survey.u_roll_deg
    return [
        Bar("pitch", pitch, u_pitch, spec.pitch_tolerance_deg, marks.pitch, want=spec.pitch_deg),
        Bar("roll", roll, u_roll, spec.roll_tolerance_deg, marks.roll),
        Bar("gap", gap_mm, 4 * survey.u_twist_mm, spec.gap_tolerance_mm, marks.gap, foot=foot),
    ]


def machine_page(*, member: Membership, machine: Machine, now: datetime.datetime) -> MachinePage:
    """Return everything that the page of one machine shows."""
    org = member.organization_id
    legs = list(Leg.objects.for_org(org).filter(machine=machine).order_by("place"))
    specs = list(specs_of(machine=machine))
    surveys = list(standing_surveys(member=member, machine=machine)[:MOST_SURVEYS])
    standings = list(standings_of(machine=machine))
    for each in surveys:
        each.spec = next(spec for spec in specs if spec.pk == each.spec_id)
    plans = list(plans_of(member=member, machine=machine)[:MOST_PLANS])
    survey = surveys[0] if surveys else None
    marks = marks_of(pairs=[(each, specs[0]) for each in surveys])
    marked = list(zip(surveys, marks, strict=True))
    zone = ZoneInfo(machine.bay.floor.site.time_zone if machine.bay else "UTC")
    record, how = record_of(machine=machine, surveys=surveys, standings=standings), None
    forecast = None
    if survey:
        how = _how(survey, specs)
        forecast = forecast_page(machine=machine, record=record, spec=specs[0], found=how.answer.assessment, now=now)
    return MachinePage(
        bars=bars_of(survey, specs[0], marks[0]) if survey else [],
        survey=survey,
        how=how,
        legs=legs,
        specs=specs,
        surveys=surveys,
        plans=plans,
        standings=_told_to(member, standings),
        response=response_of(record=record),
        points=[_point(each, mark, zone) for each, mark in reversed(marked)],
        spots=[_spot(each, mark) for each, mark in reversed(marked[:MOST_SPOTS])],
        events=_with_days_of(forecast, _events(plans, surveys, zone)),
        forecast=forecast,
    )


def specs_of(*, machine: Machine) -> QuerySet[Spec]:
    """Return the specs of a machine, the one that counts first, each with who set it."""
    return (
        Spec.objects.for_org(machine.organization_id)
        .filter(machine=machine)
        .select_related("created_by")
        .order_by("-created_at", "-id")
        .fetch_mode(models.FETCH_RAISE)
    )


def standings_of(*, machine: Machine) -> QuerySet[Standing]:
    """Return where a machine was put, newest first, each with its bay and who put it there."""
    return (
        Standing.objects.for_org(machine.organization_id)
        .filter(machine=machine)
        .select_related("bay__floor__site", "created_by")
        .order_by("-created_at", "-id")
        .fetch_mode(models.FETCH_RAISE)
    )


def _told_to(member: Membership, standings: Iterable[Standing]) -> list[Standing]:
    """The standings, without the names of bays that the member may not read."""
    rows = list(standings)
    if member.role == VIEWER:
        known = set(visible(member, Bay).filter(pk__in=[row.bay_id for row in rows]).values_list("pk", flat=True))
        for row in rows:
            row.elsewhere = row.bay_id is not None and row.bay_id not in known
    return rows


def legs_of(*, machine: Machine) -> QuerySet[Leg]:
    """Return the four legs in leg order."""
    rows = Leg.objects.for_org(machine.organization_id).filter(machine=machine)
    return rows.order_by("place").fetch_mode(models.FETCH_RAISE)


def free_bays(*, member: Membership) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return the live bays on which no machine stands, by site, as (site, [(key, floor and bay)])."""
    standing = Machine.objects.for_org(member.organization_id).live().filter(bay=OuterRef("pk"))
    rows = (
        visible(member, Bay)
        .filter(~Exists(standing), archived_at__isnull=True, floor__archived_at__isnull=True)
        .order_by("floor__site__name", "floor__name", "name", "id")
        .values_list("floor__site__name", "pk", "floor__name", "name")
    )
    groups: dict[str, list[tuple[str, str]]] = {}
    for site, pk, floor, bay in rows:
        groups.setdefault(site, []).append((str(pk), f"{floor} · {bay}"))
    return list(groups.items())


def newest_sites(*, member: Membership) -> list[tuple[str, str]]:
    """Return the live sites, the newest first, as (name, time zone)."""
    rows = visible(member, Site).filter(archived_at__isnull=True).order_by("-created_at", "-id")
    return list(rows.values_list("name", "time_zone"))


def unused_code(*, member: Membership) -> str:
    """Return the next code of the plain series M-1, M-2 ... that no machine has."""
    taken = Machine.objects.for_org(member.organization_id).filter(code__startswith="M-")
    numbers = [int(code[2:]) for code in taken.values_list("code", flat=True) if code[2:].isdecimal()]
    return f"M-{max(numbers, default=0) + 1}"


def _how(survey: Survey, specs: list[Spec]) -> SurveyPage:
    """The working of the newest survey, from rows that are here already."""
    is_current = survey.spec_id == specs[0].pk
    answer = answer_of(survey=survey)
    return SurveyPage(survey=survey, answer=answer, corrected_by=None, is_newest=True, spec_is_current=is_current)


def _point(survey: Survey, marks: Marks, zone: ZoneInfo) -> PitchPoint:
    day = survey.measured_at.astimezone(zone).date()
    return day, survey.pitch_deg, survey.u_pitch_deg, marks.pitch


def _spot(survey: Survey, marks: Marks) -> PlaneSpot:
    worse = max(marks.pitch, marks.roll, key=WORST_LAST.index)
    return survey.roll_deg, survey.pitch_deg, survey.u_roll_deg, survey.u_pitch_deg, worse


def _with_days_of(
    forecast: ForecastPage | None, events: list[tuple[datetime.date, str]]
) -> list[tuple[datetime.date, str]]:
    """The events with today and the due date, where a forecast is drawn."""
    if forecast is None:
        return events
    days = [(forecast.today, "today")]
    if not forecast.is_due:
        days.append((forecast.due_on, "due"))
    return [*events, *days]


def _events(plans: Sequence[Plan], surveys: Sequence[Survey], zone: ZoneInfo) -> list[tuple[datetime.date, str]]:
    """When legs were turned, as far back as the surveys on the page reach."""
    if not surveys:
        return []
    first = surveys[-1].measured_at
    turned = [plan.turned_at for plan in plans if plan.turned_at and plan.turned_at >= first]
    return [(at.astimezone(zone).date(), TURNED) for at in reversed(turned)]
