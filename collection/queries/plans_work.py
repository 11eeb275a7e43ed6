"""A leg plan as a list of steps for the hands, and why nobody should work by it, if so.

before | raise, turn, turn, lower, record | raise, turn, turn, lower, record | after
       |             lift 1               |             lift 2               |
"""

from dataclasses import dataclass, field
from typing import Any

from collection.models import Membership, Plan
from collection.queries.plans import plan_page, standing_surveys, turned_by_another
from collection.queries.plans_page import LegOfLift, Lift, PlanPage

#: Smallest steps by how many make one turn.
STEP_WORDS = {1: "1", 2: "½", 4: "¼", 6: "⅙", 8: "⅛"}


@dataclass(frozen=True)
class Step:
    """One thing to do. ``kind`` is before, raise, turn, lower, record or after.

    ``after`` is what the playfield should read once its lift is set down.
    """

    kind: str
    lift: Lift | None = None
    leg: LegOfLift | None = None
    after: dict[str, Any] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """The step's name in the page and in the browser's memory, such as "turn-1-RL"."""
        parts = [self.kind, str(self.lift.number) if self.lift else "", self.leg.name if self.leg else ""]
        return "-".join(part for part in parts if part)

    @property
    def is_recorded(self) -> bool:
        """Whether the record holds what was turned in this step's lift."""
        return self.lift is not None and self.lift.stage == "done"

    @property
    def is_now(self) -> bool:
        """Whether this step belongs to the lift that is worked now."""
        return self.lift is not None and self.lift.stage == "now"


@dataclass(frozen=True)
class WorkPage:
    """The steps of a plan; with a problem there are none."""

    seen: PlanPage
    problem: str
    steps: list[Step]

    @property
    def recorded(self) -> int:
        """How many lifts the record holds."""
        return sum(lift.stage == "done" for lift in self.seen.lifts)

    @property
    def step_words(self) -> str:
        """The smallest step that this machine is turned by."""
        per_turn = self.seen.plan.inputs["steps_per_turn"]
        return STEP_WORDS.get(per_turn, f"1/{per_turn}")

    @property
    def is_turned(self) -> bool:
        """Whether every lift is recorded, so that only the work afterwards is left."""
        return self.seen.plan.state == "turned"


def work_page(*, member: Membership, plan: Plan) -> WorkPage:
    """Return what the hands do, step by step; a member who only reads records nothing."""
    seen = plan_page(member=member, plan=plan)
    problem = problem_with(member=member, seen=seen)
    return WorkPage(seen=seen, problem=problem, steps=[] if problem else _steps(seen, records=member.may_write))


def problem_with(*, member: Membership, seen: PlanPage) -> str:
    """Why nobody should turn by this plan: set_aside, signed_off, nothing, moved or stale; "" if nothing does."""
    plan = seen.plan
    if plan.state in ("set_aside", "signed_off"):
        return plan.state
    if not seen.lifts:
        return "nothing"
    if seen.moved:
        return "moved"
    return "stale" if is_stale(member=member, plan=plan) else ""


def is_stale(*, member: Membership, plan: Plan) -> bool:
    """Return whether an unfinished plan starts from what no longer holds: surveyed or turned since, or another spec.

    A check reading of the plan itself changes nothing.
    """
    if plan.state != "open":
        return False
    if plan.machine.status.spec_id not in (None, plan.spec_id):
        return True
    if turned_by_another(plan=plan):
        return True
    newest = standing_surveys(member=member, machine=plan.machine).first()
    if newest is None or plan.pk == newest.plan_id or plan.survey_id == newest.pk:
        return False
    return plan.survey_id is not None or newest.created_at > plan.created_at


def _steps(seen: PlanPage, *, records: bool) -> list[Step]:
    steps = [Step("before")]
    for lift, after in seen.course_by_lift:
        steps += [Step("raise", lift), *(Step("turn", lift, leg) for leg in lift.legs if leg.turns)]
        steps += [Step("lower", lift, after=after), *([Step("record", lift)] if records else [])]
    return [*steps, Step("after")]
