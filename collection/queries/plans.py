"""Reads about leg plans: what one can start from, its lifts with what was turned, its checks, its history."""

from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import Any

from django.db import models
from django.db.models import QuerySet

from collection.access import visible
from collection.arrays.plans import PlanRows, turns_summary, usual_work
from collection.models import Adjustment, FloorSlope, Leg, Machine, Membership, Plan, Spec, Survey
from collection.models.machines import LEGS
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

    @property
    def usual(self) -> dict[str, Any]:
        """How a plan of this machine is usually asked for."""
        return {"source": self.best_source or "survey", **asdict(usual_work(self.machine))}

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
    then_mm: float | None
    done: Adjustment | None
    travel_mm: float
    exposure_known: bool

    @property
    def raises_mm(self) -> float:
        """How much the corner rises or sinks [mm]."""
        return abs(self.height_mm)

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
        return [by_name.get(name, 0.0) for name in LEGS]

    @property
    def leg_names(self) -> str:
        """The legs to turn, as the drawing takes them."""
        return " ".join(leg.name for leg in self.to_turn)

    @property
    def recorded(self) -> Adjustment | None:
        """A row of what was turned, for who did it and when."""
        return next((leg.done for leg in self.legs if leg.done), None)


@dataclass(frozen=True)
class PlanPage:
    """Everything that the page of one plan shows."""

    plan: Plan
    lifts: list[Lift]
    checks: list[Survey]

    @property
    def now(self) -> Lift | None:
        """The lift to work on now."""
        return next((lift for lift in self.lifts if lift.stage == "now"), None)

    @property
    def summary(self) -> str:
        """The plan in one line."""
        return turns_summary(self.plan.answer)

    @property
    def typed_now(self) -> dict[str, Any]:
        """The lift to work on now, as the form for other turns shows it at first."""
        typed: dict[str, Any] = {"lift": self.now.number if self.now else 1}
        for leg in self.now.legs if self.now else ():
            planned = next(each for each in self.plan.answer["legs"] if each["name"] == leg.name)
            typed[f"turns_{leg.field}"] = _as_typed(abs(planned["steps"]), planned["steps_per_turn"])
            typed[f"way_{leg.field}"] = "in" if planned["steps"] < 0 else "out"
        return typed

    @property
    def limit_leg(self) -> str:
        """The leg that stops the plan, or ""."""
        limit: str = self.plan.answer["limit"]
        return limit[:2].upper() if "_at_" in limit else ""

    @property
    def pads(self) -> list[tuple[str, float]]:
        """Pads or travel that lack, by leg [mm]."""
        return [(leg, mm) for leg, mm in zip(LEGS, self.plan.answer["pads_mm"], strict=True) if mm]

    @property
    def unknown_exposures(self) -> list[str]:
        """Legs to turn whose exposure nobody had measured, so that travel is not checked."""
        known = self.plan.inputs["exposures_mm"]
        return [
            leg["name"] for leg, mm in zip(self.plan.answer["legs"], known, strict=True) if leg["steps"] and mm is None
        ]

    @property
    def unproven(self) -> list[str]:
        """What the survey's instrument cannot prove by the certificate rule, even in the middle of the spec."""
        provable = self.plan.answer["provable"] or {}
        return [name for name in ("pitch", "roll", "gap") if not provable.get(name, True)]

    @property
    def bars_now(self) -> list[dict[str, Any]]:
        """Tolerance bars of what the playfield reads now."""
        return self._bars(self.plan.answer["states"][0], self.plan.answer["verdict_now"])

    @property
    def bars_after(self) -> list[dict[str, Any]]:
        """Tolerance bars of what it should read after the last lift."""
        return self._bars(self.plan.answer["states"][-1], self.plan.answer["verdict_after"])

    def _bars(self, state: dict[str, Any], verdict: dict[str, Any]) -> list[dict[str, Any]]:
        spec = self.plan.inputs["spec"]
        pitch, roll = (
            {"kind": kind, "value": state[f"{kind}_deg"], "u": state[f"u_{kind}_deg"]} for kind in ("pitch", "roll")
        )
        pitch |= {"want": spec["pitch_deg"], "tol": spec["pitch_tolerance_deg"], "verdict": verdict["pitch"]}
        roll |= {"tol": spec["roll_tolerance_deg"], "verdict": verdict["roll"]}
        gap = {"kind": "gap", "value": state["gap_mm"], "u": state["u_gap_mm"], "foot": state["foot"]}
        gap |= {"tol": spec["gap_tolerance_mm"], "verdict": verdict["gap"]}
        return [pitch, roll, gap]


def plan_page(*, member: Membership, plan: Plan) -> PlanPage:
    """Return everything that the page of one plan shows."""
    return PlanPage(plan=plan, lifts=lifts_of(plan=plan), checks=list(checks_of(member=member, plan=plan)))


def plan_start(*, member: Membership, machine: Machine) -> PlanStart:
    """Return what a plan of this machine can start from, as it stands now."""
    legs = list(Leg.objects.for_org(member.organization_id).filter(machine=machine).order_by("place"))
    spec = Spec.objects.for_org(member.organization_id).filter(machine=machine).latest("created_at")
    survey = standing_surveys(member=member, machine=machine).first()
    slope = slopes_by_bay(bays=[machine.bay]).get(machine.bay.pk) if machine.bay else None
    turned = survey is not None and turned_since(survey=survey)
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
    return (
        visible(member, Survey)
        .filter(machine=machine, corrections__isnull=True)
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
                then_mm=leg["exposure_after_mm"],
                done=done.get(leg["name"]),
                travel_mm=travels[leg["name"]].travel_mm,
                exposure_known=plan.inputs["exposures_mm"][place] is not None,
            )
            for place, leg in enumerate(plan.answer["legs"])
            if leg["name"] in lift["frees"]
        ]
        lifts.append(Lift(number=number, end=lift["end"], legs=legs, stage=_stage(plan, number, recorded)))
    return lifts


def legs_by_lift(*, plan: Plan) -> list[list[str]]:
    """Return the names of the legs that each lift frees, in order."""
    return [list(lift["frees"]) for lift in plan.answer["lifts"]]


def turned_since(*, survey: Survey) -> bool:
    """Return whether a leg was turned by a plan after a survey, which then no longer tells how the machine stands."""
    rows = Adjustment.objects.for_org(survey.organization_id).filter(plan__machine=survey.machine_id)
    return rows.filter(created_at__gt=survey.measured_at).exclude(turns=0).exists()


def checks_of(*, member: Membership, plan: Plan) -> QuerySet[Survey]:
    """Return the check readings that were taken for a plan and stand, oldest first."""
    rows = standing_surveys(member=member, machine=plan.machine)
    return rows.filter(plan=plan).order_by("measured_at", "created_at").fetch_mode(models.FETCH_RAISE)


def _as_typed(steps: int, per_turn: int) -> str:
    """Turns as someone would type them, such as 6 1/2."""
    whole, part = divmod(steps, per_turn)
    fraction = Fraction(part, per_turn)
    words = [str(whole)] if whole or not part else []
    return " ".join([*words, str(fraction)] if part else words)


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
