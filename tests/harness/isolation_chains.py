"""The steps of real work in a row: what only happens after something else happened is watched as well."""

from collections.abc import Callable, Mapping
from typing import Any

from django.db import transaction
from django.urls import reverse

from tests.collection.views.test_sent_twice import AT_A_SITE, PLAN, SLOPE, SPEC, ZERO
from tests.harness.isolation_walk import Step, Walk
from tests.surveying import sent
from tests.worlds import TernTaproom

#: One request: what it asks, and what it sends; an address "" is where the one before led, "+..." goes on from there.
Ask = tuple[str, Mapping[str, Any] | None]


def chain_steps() -> list[Step]:
    """Return a step for each chain, done by Alice and shown to her after every request."""
    return [_chain(name, asks) for name, asks in _CHAINS.items()]


def _chain(name: str, asks: Callable[[TernTaproom], list[Ask]]) -> Step:
    def run(walk: Walk) -> list[str]:
        alice, faults, led = walk.books.identities["alice"], [], ""
        with transaction.atomic():
            for where, body in asks(walk.books.taproom):
                url = led + where[1:] if where.startswith("+") else where or led
                answer = walk.ask(alice, "GET" if body is None else "POST", url, body, check_keys=body is not None)
                wanted = 200 if body is None else 302
                faults += answer.faults
                faults += [] if answer.status == wanted else [f"{url}: {answer.status}, not {wanted}"]
                led = answer.headers.get("Location", led)
            transaction.set_rollback(True)
        return faults

    return Step("chains", name, run)


def _page(name: str, row: Any) -> str:
    return reverse(name, args=[row.pk])


def _survey(taproom: TernTaproom, pitch: str = "6.5", **more: str) -> Ask:
    rows = (("along", pitch, "rear"), ("across", "0.1", "left"))
    return _page("survey_new", taproom.machine), sent(taproom.instrument.pk, *rows, **more)


def _lifts(taproom: TernTaproom) -> list[Ask]:
    lifts = len(taproom.plan.answer["lifts"])
    return [(_page("plan_turned", taproom.plan), {"lift": str(n + 1), "as_shown": "on"}) for n in range(lifts)]


def _a_floor_that_is_known(taproom: TernTaproom) -> list[Ask]:
    machine, floor, bay = taproom.machine, taproom.floor, taproom.bay
    return [
        (_page("floor_slope", floor), {**SLOPE, "instrument": str(taproom.instrument.pk)}),
        (_page("bay_slope", bay), SLOPE),
        _survey(taproom), ("", None), (_page("machine", machine), None),
        (_page("plan_new", machine), {**PLAN, "source": "floor"}), ("", None),
        (_page("floor", floor), None), (_page("bay", bay), None), (_page("site", taproom.site), None),
    ]  # fmt: skip


def _a_plan_to_its_end(taproom: TernTaproom) -> list[Ask]:
    plan, machine = taproom.plan, taproom.machine
    return [
        *_lifts(taproom), (_page("plan", plan), None), (_page("machine", machine), None),
        _survey(taproom, plan=str(plan.pk)), ("", None),
        (_page("plan_sign_off", plan), {"remark": "The bob is set."}), (_page("plan", plan), None),
        (_page("plan_new", machine), {**PLAN, "even_if_in_spec": "on"}), ("", None), (reverse("today"), None),
    ]  # fmt: skip


def _surveys_out_of_spec(taproom: TernTaproom) -> list[Ask]:
    return [
        (_page("plan_set_aside", taproom.plan), {"why": "Another try."}),
        _survey(taproom, "5.2"), ("", None), (_page("plan_new", taproom.machine), PLAN), ("", None),
        (_page("machine_spec", taproom.machine), SPEC), (_page("machine", taproom.machine), None),
    ]  # fmt: skip


def _late_and_corrected(taproom: TernTaproom) -> list[Ask]:
    rows = (("along", "6.4", "rear"), ("across", "0.1", "left"))
    correction = sent(taproom.instrument.pk, *rows, why="Wrong end.")
    return [
        _survey(taproom, measured_at="2026-05-04T12:10"), ("", None),
        (_page("survey_correct", taproom.survey), correction), ("", None),
        (_page("survey", taproom.survey), None), (_page("quick_check", taproom.quick_check), None),
        (_page("quick_check", taproom.pair), None), (_page("machine", taproom.machine), None),
    ]  # fmt: skip


def _an_instrument_over_time(taproom: TernTaproom) -> list[Ask]:
    level = taproom.instrument
    return [
        (_page("instrument_zero", level), ZERO),
        (_page("instrument_event", level), {"kind": "dropped", "note": "On the tiles."}), ("", None),
        _survey(taproom), ("", None), (reverse("instruments"), None), (_page("instrument_zero", level), ZERO),
        (_page("instrument_event", taproom.vial), {"kind": "repaired"}), ("", None),
        (_page("vial_strip", taproom.vial), None),
    ]  # fmt: skip


def _roll_at_both_ends(taproom: TernTaproom) -> list[Ask]:
    """Roll differs front and rear, and the survey before it, with a light foot, tells whose twist it is."""
    twisted = (("along", "6.5", "rear"), ("across", "0.9", "left"), ("across", "0.9", "right"))
    spots = {"readings-1-spot": "lower_centre", "readings-2-spot": "upper_centre"}
    body = sent(taproom.instrument.pk, *twisted, **spots)
    light = {**body, "stance": "FL", "gap": "2", "gap_unit": "mm", "gap_step_turns": "0.1"}
    light |= {"measured_at": "2026-05-04T12:05"}
    url = _page("survey_new", taproom.machine)
    return [(url, light), ("", None), (url, body), ("", None), (_page("machine", taproom.machine), None)]


def _a_machine_from_its_first_day(taproom: TernTaproom) -> list[Ask]:
    """Out of spec with no plan yet: its row in the lists says what to turn."""
    rows = (("along", "5.2", "rear"), ("across", "0.1", "left"))
    return [
        (reverse("machine_new"), AT_A_SITE), ("+surveys/new/", sent(taproom.instrument.pk, *rows)), ("", None),
        (reverse("today"), None), (reverse("machines"), None),
    ]  # fmt: skip


_CHAINS: dict[str, Callable[[TernTaproom], list[Ask]]] = {
    "a floor that is known": _a_floor_that_is_known,
    "a plan to its end": _a_plan_to_its_end,
    "a machine from its first day": _a_machine_from_its_first_day,
    "surveys out of spec": _surveys_out_of_spec,
    "a survey told late, another corrected": _late_and_corrected,
    "an instrument over time": _an_instrument_over_time,
    "roll at both ends": _roll_at_both_ends,
}
