"""Reads about leg plans: what one can start from, its lifts with what was turned, its checks, its history."""

from dataclasses import dataclass

from django.db import models
from django.db.models import Exists, OuterRef, QuerySet

from collection.access import visible
from collection.arrays.plans import PlanRows
from collection.models import Adjustment, FloorSlope, Leg, Machine, Membership, Plan, Spec, Survey
from collection.queries.floors import slopes_by_bay


@dataclass(frozen=True)
class PlanStart:
    """What a leg plan of a machine can start from now, and what stands against it ("" if nothing does)."""

    machine: Machine
    legs: list[Leg]
    spec: Spec
    survey: Survey | None
    slope: FloorSlope | None
    survey_problem: str
    floor_problem: str

    def problem_with(self, source: str) -> str:
        """Why a plan cannot start from this source, with the remedy; "" if it can."""
        return self.survey_problem if source == "survey" else self.floor_problem

    @property
    def best_source(self) -> str:
        """The survey if it describes the machine as it stands, else floor and legs, else ""."""
        return next((source for source in ("survey", "floor") if not self.problem_with(source)), "")

    def rows_for(self, source: str) -> PlanRows:
        """The rows that the engine needs for this source."""
        survey = self.survey if source == "survey" else None
        slope = self.slope if source == "floor" else None
        return PlanRows(machine=self.machine, legs=self.legs, spec=self.spec, survey=survey, slope=slope)


@dataclass(frozen=True)
class LegOfLift:
    """One leg in one lift: what the plan says, and what was turned if that is recorded."""

    name: str
    turns: float
    height_mm: float
    done: Adjustment | None
    travel_mm: float
    exposure_known: bool

    @property
    def field(self) -> str:
        """The ending of this leg's form fields."""
        return self.name.lower()

    @property
    def changed(self) -> bool:
        """Whether something else was turned than the plan said."""
        return self.done is not None and self.done.turns != self.turns

    @property
    def too_far(self) -> bool:
        """Whether the plan asks more of this leveler than its whole travel, which nobody could check before."""
        turned_mm = self.done.turns * self.done.lead_mm if self.done else self.height_mm
        return not self.exposure_known and abs(turned_mm) > self.travel_mm


@dataclass(frozen=True)
class Lift:
    """One lift of a plan: which end, the legs to turn and those it frees, and where the work stands."""

    number: int
    end: str
    legs: list[LegOfLift]
    stage: str

    @property
    def to_turn(self) -> list[LegOfLift]:
        """The legs that the plan turns, or that were turned."""
        return [leg for leg in self.legs if leg.turns or leg.done]

    @property
    def turns(self) -> list[float]:
        """Planned turns by leg order, 0 outside this lift."""
        by_name = {leg.name: leg.turns for leg in self.legs}
        return [by_name.get(name, 0.0) for name in ("FL", "FR", "RL", "RR")]

    @property
    def leg_names(self) -> str:
        """The legs to turn, as the drawing takes them."""
        return " ".join(leg.name for leg in self.to_turn)

    @property
    def recorded(self) -> Adjustment | None:
        """A row of what was turned, for who did it and when."""
        return next((leg.done for leg in self.legs if leg.done), None)


def plan_start(*, member: Membership, machine: Machine) -> PlanStart:
    """Return what a plan of this machine can start from, as it stands now."""
    legs = list(Leg.objects.for_org(member.organization_id).filter(machine=machine).order_by("place"))
    spec = Spec.objects.for_org(member.organization_id).filter(machine=machine).latest("created_at")
    survey = standing_surveys(member=member, machine=machine).first()
    slope = slopes_by_bay(bays=[machine.bay]).get(machine.bay.pk) if machine.bay else None
    turned = survey is not None and _turned_after(survey)
    return PlanStart(
        machine=machine,
        legs=legs,
        spec=spec,
        survey=survey,
        slope=slope,
        survey_problem=_survey_problem(machine, survey, turned),
        floor_problem=_floor_problem(machine, legs, slope),
    )


def standing_surveys(*, member: Membership, machine: Machine) -> QuerySet[Survey]:
    """Return the surveys of a machine that no correction replaced, newest first, with their instruments."""
    corrections = Survey.objects.for_org(member.organization_id).filter(supersedes=OuterRef("pk"))
    return (
        visible(member, Survey)
        .filter(~Exists(corrections), machine=machine)
        .select_related("instrument", "created_by")
        .order_by("-measured_at", "-created_at")
        .fetch_mode(models.FETCH_RAISE)
    )


def plans_of(*, member: Membership, machine: Machine) -> QuerySet[Plan]:
    """Return the plans of a machine, newest first."""
    return (
        visible(member, Plan)
        .filter(machine=machine)
        .select_related("survey", "created_by", "signed_off_by")
        .order_by("-created_at", "-id")
        .fetch_mode(models.FETCH_RAISE)
    )


def lifts_of(*, plan: Plan) -> list[Lift]:
    """Return the lifts of a plan in order, each with its legs and what was turned."""
    done = _adjustments(plan)
    travels = {leg.name: leg for leg in Leg.objects.for_org(plan.organization_id).filter(machine=plan.machine_id)}
    recorded = {adjustment.lift for adjustment in done.values()}
    lifts = []
    for number, lift in enumerate(plan.answer["lifts"], start=1):
        legs = [
            LegOfLift(
                name=leg["name"],
                turns=leg["steps"] / plan.inputs["steps_per_turn"],
                height_mm=leg["height_mm"],
                done=done.get(leg["name"]),
                travel_mm=travels[leg["name"]].travel_mm,
                exposure_known=plan.inputs["exposures_mm"][place] is not None,
            )
            for place, leg in enumerate(plan.answer["legs"])
            if leg["name"] in lift["frees"]
        ]
        lifts.append(Lift(number=number, end=lift["end"], legs=legs, stage=_stage(plan, number, recorded)))
    return lifts


def checks_of(*, member: Membership, plan: Plan) -> QuerySet[Survey]:
    """Return the check readings that were taken for a plan and stand, oldest first."""
    rows = standing_surveys(member=member, machine=plan.machine)
    return rows.filter(plan=plan).order_by("measured_at", "created_at").fetch_mode(models.FETCH_RAISE)


def _adjustments(plan: Plan) -> dict[str, Adjustment]:
    rows = Adjustment.objects.for_org(plan.organization_id).filter(plan=plan).select_related("created_by")
    names = [leg["name"] for leg in plan.answer["legs"]]
    return {names[row.place]: row for row in rows}


def _stage(plan: Plan, number: int, recorded: set[int]) -> str:
    if number in recorded:
        return "done"
    if plan.state != "open":
        return "left"
    return "now" if number == len(recorded) + 1 else "later"


def _turned_after(survey: Survey) -> bool:
    rows = Adjustment.objects.for_org(survey.organization_id).filter(plan__machine=survey.machine_id)
    return rows.filter(created_at__gt=survey.measured_at).exclude(turns=0).exists()


def _survey_problem(machine: Machine, survey: Survey | None, turned: bool) -> str:
    if survey is None:
        return "Nobody has surveyed this machine yet. Survey it first."
    if survey.bay_id != machine.bay_id:
        return "The machine was moved after its newest survey. Survey it where it stands now."
    if turned:
        return "Legs were turned after the newest survey. Survey it as it stands now."
    return ""


def _floor_problem(machine: Machine, legs: list[Leg], slope: FloorSlope | None) -> str:
    if machine.bay_id is None:
        return "The machine stands on no bay. Put it on one first."
    if slope is None:
        return "The floor's slope is not known here. Read it off once, for the bay or the floor."
    unknown = [leg.name for leg in legs if leg.exposure_mm is None]
    if unknown:
        return f"Nobody has measured how far {' '.join(unknown)} is out. Write the exposures down first."
    return ""
