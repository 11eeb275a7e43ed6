"""Writes about leg plans: make one, record what was turned, sign it off, set it aside."""

import datetime
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from collection.actions.record import ActionRefused, Author, add, already_done, change, hold, note, was_written
from collection.actions.status import refresh_status
from collection.arrays.plans import PlanWork, inputs_of, usual_work
from collection.arrays.plans_answers import Answer, Inputs, answers_to, turn_mm
from collection.models import Adjustment, Leg, Machine, Plan, PlanLeg
from collection.models.plans import TASKS
from collection.queries.plans import PlanStart, moved_from, plan_start
from leveling import VERSION
from leveling.errors import BadInput

#: The database holds as many steps; no leveler whose exposure nobody knows goes as far. Common practice, no source.
MOST_STEPS, MOST_UNKNOWN_MM = 2000, 150
# A travel reached to the last hair is not beyond it.
_HAIR_MM = 1e-6


@dataclass(frozen=True)
class Turned:
    """Turns of one leg, out positive, and the text that was typed for them."""

    turns: float
    text: str


@transaction.atomic
def make_plan(*, by: Author, machine: Machine, source: str, **work: Any) -> Plan:
    """Work out what to turn, from the newest survey or from floor and legs; an unfinished older plan is set aside.

    ``work`` names what ``PlanWork`` holds; without it, as this machine is usually worked. Refuses a source that does
    not describe the machine as it stands now.
    """
    machine = hold(machine)
    if found := already_done(Plan, by):
        return found
    start = plan_start(member=by.member, machine=machine)
    _refuse_source(start, source)
    rows = start.rows_for(source)
    inputs = inputs_of(rows=rows, work=PlanWork(**work) if work else usual_work(machine))
    answer = _answer_to(inputs)
    _refuse_impossible(answer, start)
    for older in _unfinished(by, machine):
        _set_aside(replace(by, why="A newer plan was made."), older)
    plan = Plan(
        id=by.key, machine=machine, survey=rows.survey, spec=rows.spec, source=source, outcome=answer["outcome"],
        inputs=inputs, answer=answer, engine_version=VERSION,
    )  # fmt: skip
    add(by, plan, legs=_legs(plan))
    refresh_status(machine=machine)
    return plan


@transaction.atomic
def record_turns(*, by: Author, plan: Plan, lift: int, turns_by_leg: dict[str, Turned] | None = None) -> Plan:
    """Record what was turned in one lift, or that it was turned as the plan says; exposures follow if known.

    Refuses another order of lifts, a lift recorded before, legs that the lift does not free, and turns beyond travel.
    What waited on a device is recorded even if the plan was set aside meanwhile: it was turned. The plan stays aside.
    """
    plan = _locked(by, plan)
    keys = {leg["name"]: uuid5(by.key, f"{plan.pk} {leg['name']}") for leg in plan.answer["legs"]}
    if was_written(by.member.organization_id, by.write):
        return plan
    if not (by.waited and plan.state == "set_aside"):
        _refuse_state(plan, {"open"})
        _refuse_moved(plan)
    _refuse_order(plan, lift)
    turned = _turned_legs(plan, lift, turns_by_leg)
    # A page with the machine's legs that is open now would put the old exposures back.
    change(by, plan.machine, version=plan.machine.version)
    for leg, done in turned.items():
        _adjust(by, plan, leg, lift, done, keys[leg])
    if plan.state == "open" and lift == len(plan.answer["lifts"]):
        change(by, plan, version=plan.version, state="turned", turned_at=_turned_at(by, plan))
    refresh_status(machine=plan.machine)
    return plan


@transaction.atomic
def sign_off(*, by: Author, plan: Plan, tasks: list[str], remark: str = "") -> Plan:
    """Sign a plan off. Refuses it before all lifts are turned, and an item left open without a remark."""
    plan = _locked(by, plan)
    if plan.state == "signed_off" and plan.signed_off_by_id == by.member.user_id:
        return plan
    _refuse_state(plan, {"open"} if plan.outcome == "in_spec" else {"turned"})
    left = [task for task in TASKS if task not in tasks]
    if left and not remark and plan.outcome != "in_spec":
        raise ActionRefused("Tick each item, or say in the remark why it is left.", field="remark")
    done = [task for task in TASKS if task in tasks]
    signed: dict[str, Any] = {"state": "signed_off", "signed_off_at": by.done_at, "signed_off_by_id": by.member.user_id}
    change(by, plan, version=plan.version, tasks_done=done, remark=remark, **signed)
    refresh_status(machine=plan.machine)
    return plan


@transaction.atomic
def set_aside(*, by: Author, plan: Plan) -> Plan:
    """Set an unfinished plan aside, for the author's reason; what was turned stays in the record."""
    plan = _locked(by, plan)
    if plan.state == "set_aside":
        return plan
    _refuse_state(plan, {"open", "turned"})
    if not by.why:
        raise ActionRefused("Say why the plan is set aside.", field="why")
    _set_aside(by, plan)
    refresh_status(machine=plan.machine)
    return plan


def _set_aside(by: Author, plan: Plan) -> None:
    change(by, plan, version=plan.version, state="set_aside", remark=by.why)


def _locked(by: Author, plan: Plan) -> Plan:
    """Read the plan again and hold it and its machine, so that two people cannot both record the same lift."""
    hold(plan.machine)
    rows = Plan.objects.for_org(by.member.organization_id).select_related("machine")
    held: Plan = rows.select_for_update(of=("self",)).get(pk=plan.pk)
    return held


def _unfinished(by: Author, machine: Machine) -> list[Plan]:
    rows = Plan.objects.for_org(by.member.organization_id)
    return list(rows.filter(machine=machine, state__in=("open", "turned")).select_for_update())


def _legs(plan: Plan) -> list[PlanLeg]:
    return [
        PlanLeg(
            place=place, steps=leg["steps"], lift=leg["lift"], steps_per_turn=plan.inputs["steps_per_turn"],
            height_mm=leg["height_mm"],
        )
        for place, leg in enumerate(plan.answer["legs"])
    ]  # fmt: skip


def _adjust(by: Author, plan: Plan, leg: str, lift: int, done: Turned, key: UUID) -> None:
    """Store what was turned at one leg, and where its leveler stands now if that was known before."""
    rows = Leg.objects.for_org(by.member.organization_id).filter(machine=plan.machine_id, place=_place(plan, leg))
    row: Leg = rows.select_for_update().get()
    lead_mm = turn_mm(plan.inputs)
    if row.exposure_mm is None:
        _refuse_beyond_any(row, done.turns * lead_mm)
    else:
        was_mm, now_mm = row.exposure_mm, row.exposure_mm + done.turns * lead_mm
        _refuse_travel(row, now_mm)
        row.exposure_mm = min(max(now_mm, 0.0), row.travel_mm)
        Leg.objects.for_org(by.member.organization_id).filter(pk=row.pk).update(exposure_mm=row.exposure_mm)
        note(by, row, "turned", old={"exposure_mm": was_mm}, new={"exposure_mm": row.exposure_mm})
    made = Adjustment(
        id=key, plan=plan, place=row.place, lift=lift, turns=done.turns, text=done.text, lead_mm=lead_mm,
        turned_at=_turned_at(by, plan),
    )  # fmt: skip
    add(by, made)


def _turned_at(by: Author, plan: Plan) -> datetime.datetime:
    """Return when it was turned, but not before there was a plan for it: a device's clock may be set meanwhile."""
    return max(by.done_at, plan.created_at)


def _place(plan: Plan, leg: str) -> int:
    return [planned["name"] for planned in plan.answer["legs"]].index(leg)


def _turned_legs(plan: Plan, lift: int, turns_by_leg: dict[str, Turned] | None) -> dict[str, Turned]:
    """Return what was turned at each leg of the lift; a leg that was neither planned nor turned is left out."""
    freed = plan.answer["lifts"][lift - 1]["frees"]
    planned = {
        leg["name"]: Turned(leg["steps"] / plan.inputs["steps_per_turn"], "as shown")
        for leg in plan.answer["legs"]
        if leg["name"] in freed and leg["steps"]
    }
    if turns_by_leg is None:
        return planned
    stray = [leg for leg in turns_by_leg if leg not in freed]
    if stray:
        raise ActionRefused(f"{' and '.join(stray)} is not free in lift {lift}. Record only {' and '.join(freed)}.")
    nothing = {leg: Turned(0.0, "0") for leg in planned}
    return {leg: done for leg, done in {**nothing, **turns_by_leg}.items() if leg in planned or done.turns}


def _refuse_source(start: PlanStart, source: str) -> None:
    if start.machine.archived_at is not None:
        raise ActionRefused("This machine is archived. Bring it back first.")
    problem = start.problem_with(source)
    if problem:
        raise ActionRefused(problem, field="source")


def _answer_to(inputs: Inputs) -> Answer:
    try:
        return answers_to([inputs])[0]
    except BadInput as bad:
        raise ActionRefused(
            "From these numbers the machine would lean further than any machine stands. "
            "Check the legs, the floor's slope and the readings."
        ) from bad


def _refuse_impossible(answer: Answer, start: PlanStart) -> None:
    """Refuse what no plan can mend: a wrong exposure, or a reading that asks for more than any leg could give."""
    for leg in start.legs if answer["outcome"] == "exposure_beyond_travel" else ():
        if leg.exposure_mm is not None and leg.exposure_mm > leg.travel_mm:
            raise ActionRefused(
                f"{leg.name} stands {leg.exposure_mm:.1f} mm out, more than its travel of {leg.travel_mm:.0f} mm. "
                "Correct one of them on the machine's legs page."
            )
    for planned, leg in zip(answer["legs"], start.legs, strict=True):
        far = leg.exposure_mm is None and abs(planned["height_mm"]) > MOST_UNKNOWN_MM
        if far or abs(planned["steps"]) > MOST_STEPS:
            raise ActionRefused(
                f"{planned['name']} would have to move {abs(planned['height_mm']):.0f} mm. "
                "Check the readings, which end was high, and the wanted pitch."
            )


def _refuse_state(plan: Plan, allowed: set[str]) -> None:
    reasons = {
        "open": "Not every lift is recorded as turned. Record the lifts first.",
        "turned": "Every lift of this plan is recorded already.",
        "signed_off": "This plan is signed off. Make a new plan to turn more.",
        "set_aside": "This plan was set aside. Make a new plan.",
    }
    if plan.state not in allowed:
        raise ActionRefused(reasons[plan.state])


def _refuse_moved(plan: Plan) -> None:
    if moved_from(plan=plan):
        raise ActionRefused("The machine was moved after this plan was made. Set it aside and make a new one.")


def _refuse_order(plan: Plan, lift: int) -> None:
    count = len(plan.answer["lifts"])
    if not 1 <= lift <= count:
        raise ActionRefused(f"This plan has {count or 'no'} {'lift' if count == 1 else 'lifts'}.")
    done = set(Adjustment.objects.for_org(plan.organization_id).filter(plan=plan).values_list("lift", flat=True))
    if lift in done:
        raise ActionRefused(f"Lift {lift} is recorded already. Its card below shows what was turned.")
    if lift != len(done) + 1:
        raise ActionRefused(f"Record lift {len(done) + 1} first: lifts go in order.")


def _refuse_travel(leg: Leg, now_mm: float) -> None:
    """Refuse a leveler that would be screwed in beyond its end or out beyond its travel."""
    field = f"turns_{leg.name.lower()}"
    remedy = "Check the turns, or correct how far the leveler is out, on the machine's legs page."
    if now_mm < -_HAIR_MM:
        raise ActionRefused(f"{leg.name} has only {leg.exposure_mm:.1f} mm to go in. {remedy}", field=field)
    if now_mm > leg.travel_mm + _HAIR_MM:
        left_mm = max(leg.travel_mm - (leg.exposure_mm or 0.0), 0.0)
        raise ActionRefused(
            f"{leg.name} has only {left_mm:.1f} mm of its {leg.travel_mm:.0f} mm travel left. {remedy}", field=field
        )


def _refuse_beyond_any(leg: Leg, moved_mm: float) -> None:
    """Refuse what no leveler could do, even where nobody knows how far it is out."""
    if abs(moved_mm) > MOST_UNKNOWN_MM:
        raise ActionRefused(
            f"{leg.name} would have moved {abs(moved_mm):.0f} mm, further than any leveler goes. Check the turns.",
            field=f"turns_{leg.name.lower()}",
        )
