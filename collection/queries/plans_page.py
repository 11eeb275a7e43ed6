"""What the page of a leg plan shows: its lifts with what was turned, the readings to expect, what stops it."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from collection.arrays.plans import lifts_summary
from collection.models import Adjustment, Plan, Survey
from collection.models.machines import LEGS
from collection.queries.response_words import AnswerWords, FindingPage

WORK_THE_PLAN = "Work the leg plan"
_NBSP = "\u00a0"


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
    def way(self) -> str:
        """The planned way as a form knows it: out or in."""
        return "in" if self.turns < 0 else "out"

    @property
    def typed(self) -> str:
        """The planned turns as someone would type them, such as 6 1/2."""
        whole, part = divmod(abs(Fraction(self.turns).limit_denominator(24)), 1)
        words = [str(whole)] if whole or not part else []
        return " ".join([*words, str(part)] if part else words)

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
    def really_turned(self) -> list[float]:
        """Turns by leg order as they were made, or as they are planned while nobody recorded this lift."""
        made = {
            leg.name: leg.done.turns if leg.done else 0.0 if self.stage == "done" else leg.turns for leg in self.legs
        }
        return [made.get(name, 0.0) for name in LEGS]

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
    course: dict[str, Any]
    moved: bool = False
    #: Whether the work is done and the floor under the machine is still unknown.
    slope_unread: bool = False
    #: How the machine answers to turns, as the plan reckoned with it; None if it went by its measures.
    answers: AnswerWords | None = None
    #: What was made of its turns and the survey after them.
    finding: FindingPage | None = None

    @property
    def now(self) -> Lift | None:
        """The lift to work on now."""
        return next((lift for lift in self.lifts if lift.stage == "now"), None)

    @property
    def is_begun(self) -> bool:
        """Whether a lift is recorded, so that the summary no longer says what is left to turn."""
        return any(lift.stage == "done" for lift in self.lifts)

    @property
    def first_column(self) -> str:
        """The word above the readings that the plan started from."""
        return "before" if self.is_begun else "now"

    @property
    def starts_light(self) -> bool:
        """Whether the plan started from a machine that stood on three feet."""
        return bool(self.states[0]["foot"])

    @property
    def would_rock(self) -> bool:
        """Whether the machine would stand on three feet after the last lift, by more than the spec allows."""
        before, after = (self.states[place]["gap_mm"] or 0 for place in (0, -1))
        return after > max(before, self.plan.inputs["spec"]["gap_tolerance_mm"])

    @property
    def too_far(self) -> list[LegOfLift]:
        """Legs still to be turned by more than their whole travel."""
        return [leg for lift in self.lifts if lift.stage != "done" for leg in lift.to_turn if leg.too_far]

    @property
    def not_to_do(self) -> bool:
        """Whether nobody should turn by this plan: no leveler reaches it, or the machine would rock then."""
        return not self.is_begun and bool(self.too_far or self.would_rock)

    @property
    def summary(self) -> str:
        """The plan in one line."""
        return lifts_summary(self.plan.answer, _NBSP)

    @property
    def differs(self) -> bool:
        """Whether something else was turned than the plan said, and the readings to expect follow it."""
        return self.course is not self.plan.answer

    @property
    def typed_now(self) -> dict[str, Any]:
        """The lift to work on now, as the form for other turns shows it at first."""
        typed: dict[str, Any] = {"lift": self.now.number if self.now else 1}
        for leg in self.now.legs if self.now else ():
            typed |= {f"turns_{leg.field}": leg.typed, f"way_{leg.field}": leg.way}
        return typed

    @property
    def read_again(self) -> list[Survey]:
        """The surveys after the last lift."""
        turned_at = self.plan.turned_at
        return [check for check in self.checks if turned_at and check.measured_at >= turned_at]

    @property
    def found_out(self) -> Survey | None:
        """The newest of them, if it finds the machine out of spec: then the sign-off is not what is next."""
        newest = self.read_again[-1] if self.read_again and self.plan.state == "turned" else None
        return newest if newest and newest.verdict == "out" else None

    @property
    def found_in(self) -> bool:
        """Whether the newest reading between the lifts finds the machine in spec: then nothing asks for the others."""
        done = [lift.recorded.turned_at for lift in self.lifts if lift.recorded]
        newest = self.checks[-1] if self.checks and done and self.plan.state == "open" else None
        return newest is not None and newest.verdict == "in" and newest.measured_at >= max(done)

    @property
    def before_it(self) -> str:
        """What lists tell about the machine instead of this open plan; "" if they tell its turns, or know no better."""
        status = self.plan.machine.status
        is_next = status.plan_id == self.plan.pk and self.plan.state == "open" and self.plan.outcome == "plan"
        own = (WORK_THE_PLAN, lifts_summary(self.plan.answer))
        if not is_next or status.verdict == "never" or self.found_in or status.next_step in own:
            return ""
        return str(status.next_step)

    @property
    def tasks_known(self) -> list[str]:
        """Items of the sign-off that the record shows done: read again, once a survey stands after the last lift."""
        return ["read_again"] if self.read_again else []

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
    def feet_unchecked(self) -> bool:
        """Whether the plan started from a survey that says nothing about the feet, so that the gap is a guess."""
        survey: dict[str, Any] = self.plan.inputs.get("survey", {})
        return survey.get("stance") == "unknown"

    @property
    def unproven(self) -> list[str]:
        """What the survey's instrument cannot prove by the certificate rule, even in the middle of the spec."""
        provable = self.plan.answer["provable"] or {}
        read = ("pitch", "roll") if self.feet_unchecked else ("pitch", "roll", "gap")
        return [name for name in read if not provable.get(name, True)]

    @property
    def states(self) -> list[dict[str, Any]]:
        """What the playfield reads now and after each lift, roll told by its size and the side that is high."""
        return [
            {
                **state,
                "gap_mm": None if self.feet_unchecked else state["gap_mm"],
                "roll_size_deg": abs(state["roll_deg"]),
                "high_side": _high_side(state["roll_deg"]),
                "foot": state["foot"] if (state["gap_mm"] or 0) >= 0.05 else "",
            }
            for state in self.course["states"]
        ]

    @property
    def course_by_lift(self) -> list[tuple[Lift, dict[str, Any]]]:
        """Each lift with what the playfield should read after it."""
        return list(zip(self.lifts, self.states[1:], strict=True))

    @property
    def bars_now(self) -> list[dict[str, Any]]:
        """Tolerance bars of what the playfield reads now."""
        return self._bars(self.plan.answer["states"][0], self.plan.answer["verdict_now"])

    @property
    def bars_after(self) -> list[dict[str, Any]]:
        """Tolerance bars of what it should read after the last lift."""
        return self._bars(self.course["states"][-1], self.course["verdict_after"])

    def _bars(self, state: dict[str, Any], verdict: dict[str, Any]) -> list[dict[str, Any]]:
        spec = self.plan.inputs["spec"]
        pitch, roll = (
            {"kind": kind, "value": state[f"{kind}_deg"], "u": state[f"u_{kind}_deg"]} for kind in ("pitch", "roll")
        )
        pitch |= {"want": spec["pitch_deg"], "tol": spec["pitch_tolerance_deg"], "verdict": verdict["pitch"]}
        roll |= {"tol": spec["roll_tolerance_deg"], "verdict": verdict["roll"]}
        gap = {
            "kind": "gap",
            "value": None if self.feet_unchecked else state["gap_mm"],
            "u": state["u_gap_mm"],
            "foot": state["foot"],
        }
        gap |= {"tol": spec["gap_tolerance_mm"], "verdict": verdict["gap"]}
        return [pitch, roll, gap]


def _high_side(roll_deg: float) -> str:
    """Which side is high; no page shows less than half a hundredth of a degree."""
    if abs(roll_deg) < 0.005:
        return "level"
    return "right high" if roll_deg > 0 else "left high"
