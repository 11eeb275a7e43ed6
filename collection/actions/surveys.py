"""Writes about surveys: record one, or correct one by another that names it."""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db import transaction

from collection.actions.record import ActionRefused, Author, add, already_done, hold, note
from collection.actions.reports import answer_reports
from collection.actions.status import Fresh, refresh_status
from collection.arrays.offsets import offset_from
from collection.arrays.surveys import assess, inputs_of, readings_of
from collection.arrays.surveys_feet import gap_in_mm, weighed_feet
from collection.arrays.surveys_results import Assessment
from collection.models import Adjustment, Instrument, Leg, Machine, Plan, Reading, Standing, Survey
from collection.models.machines import LEGS
from collection.presets import GAP_STEP_TURNS, MOST_TILT_DEG, PRECONDITIONS
from collection.queries.floors import slopes_by_bay
from collection.queries.surveys import LACKS_WORDS, correction_of, current_spec, means_to_read, newest_survey
from leveling import VERSION

MOST_READINGS = 24
MOST_GAP_MM = 20.0
MOST_EXACT_STEP = 0.01
#: A survey written down later says nothing sure about where the legs stand now.
_FRESH = datetime.timedelta(days=1)


@dataclass(frozen=True)
class Seen:
    """What someone saw at the machine, as both actions take it.

    Each reading is a mapping: direction, text, value, unit, high_end, and if there is one turned_text, turned_value,
    turned_high_end, spot, x_mm, y_mm. ``gap`` is in ``gap_unit``; turns were counted to ``gap_step_turns``.
    ``weights_kg`` and ``weights_text`` hold what four scales showed, in leg order, where the stance is "weighed".
    ``measured_at`` is None for now.
    """

    readings: Sequence[Mapping[str, Any]]
    stance: str
    gap: float = 0.0
    gap_text: str = ""
    gap_unit: str = "mm"
    gap_step_turns: float = GAP_STEP_TURNS
    weights_kg: Sequence[float] = ()
    weights_text: Sequence[str] = ()
    measured_at: datetime.datetime | None = None
    preconditions: Sequence[str] = ()
    note: str = ""


@transaction.atomic
def record_survey(
    *,
    by: Author,
    machine: Machine,
    instrument: Instrument,
    instrument_across: Instrument | None = None,
    plan: Plan | None = None,
    purpose: str = "",
    **seen: Any,
) -> Survey:
    """Record a survey of a machine as ``Seen`` describes it, judged against the machine's present spec.

    It closes what was reported of the machine before. Refuses an archived machine or instrument, no reading along or
    across, impossible numbers, a light foot without its gap, a time to come, and a plan of another machine.
    """
    machine = hold(machine)
    if found := already_done(Survey, by):
        return found
    for used in filter(None, (instrument, instrument_across)):
        _refuse_instrument(machine, used)
    _refuse_plan(machine, plan)
    spec = current_spec(machine=machine)
    if spec is None:
        raise ActionRefused("Nobody said what this machine should read. Set its spec first.")
    looked = Seen(**seen)
    survey = Survey(
        id=by.key, machine=machine, bay_id=_bay_on(machine, looked, by), instrument=instrument,
        instrument_across=_if_another(instrument_across, instrument), spec=spec, plan=plan,
        purpose=purpose or ("check" if plan else "routine"),
    )  # fmt: skip
    said = _store(by, survey, looked)
    _learn_offset(by, survey)
    answer_reports(by=by, survey=survey)
    refresh_status(machine=machine, fresh=Fresh(survey, said))
    return survey


@transaction.atomic
def correct_survey(
    *, by: Author, survey: Survey, instrument: Instrument, instrument_across: Instrument | None = None, **seen: Any
) -> Survey:
    """Record what one survey should have said, with the reason; the old one stays and names its correction.

    Place, spec, plan and purpose are those of the old one. Refuses a survey that was corrected before.
    """
    survey.machine = hold(survey.machine)
    if found := already_done(Survey, by):
        return found
    if not by.why:
        raise ActionRefused("Say what was wrong with the survey.", field="why")
    for used in filter(None, (instrument, instrument_across)):
        _refuse_instrument(survey.machine, used, but=(survey.instrument_id, survey.instrument_across_id))
    if correction_of(survey=survey) is not None:
        raise ActionRefused("This survey was corrected before. Correct the newest one instead.")
    made = Survey(
        id=by.key, machine=survey.machine, bay_id=survey.bay_id, instrument=instrument,
        instrument_across=_if_another(instrument_across, instrument), spec=survey.spec, plan_id=survey.plan_id,
        purpose=survey.purpose, supersedes=survey, why=by.why,
    )  # fmt: skip
    said = _store(by, made, replace(Seen(**seen), measured_at=seen.get("measured_at") or survey.measured_at))
    _learn_offset(by, made)
    answer_reports(by=by, survey=made)
    refresh_status(machine=survey.machine, fresh=Fresh(made, said))
    return made


def _bay_on(machine: Machine, seen: Seen, by: Author) -> Any:
    """Where the machine stood then, as far as the record goes back."""
    at = _measured_at(seen, by)
    if at == by.at:
        return machine.bay_id
    rows = Standing.objects.for_org(machine.organization_id).filter(machine=machine, created_at__lte=at)
    last = rows.order_by("-created_at", "-id").first()
    return last.bay_id if last else machine.bay_id


def _if_another(across: Instrument | None, along: Instrument) -> Instrument | None:
    """What roll was read with, if it is not what pitch was read with."""
    return across if across is not None and across.pk != along.pk else None


def _refuse_instrument(machine: Machine, instrument: Instrument, but: Sequence[Any] = ()) -> None:
    if machine.archived_at is not None:
        raise ActionRefused("This machine is archived. Bring it back first.")
    if instrument.archived_at is not None and instrument.pk not in but:
        raise ActionRefused("This instrument is archived. Choose another, or bring it back.", field="instrument")
    if instrument.machine_id not in (None, machine.pk):
        raise ActionRefused("That vial belongs to another machine. Choose another instrument.", field="instrument")


def _refuse_plan(machine: Machine, plan: Plan | None) -> None:
    if plan is None:
        return
    if plan.machine_id != machine.pk:
        raise ActionRefused("That leg plan is for another machine.")
    if plan.state not in ("open", "turned"):
        raise ActionRefused("That leg plan is closed. Survey the machine without it.")


def _store(by: Author, survey: Survey, seen: Seen) -> Assessment:
    """Complete a survey with what was seen and what the engine makes of it, store it with its readings, return that."""
    machine, instrument = survey.machine, survey.instrument
    measured_at = _measured_at(seen, by)
    _refuse_stance(seen, machine)
    across = survey.instrument_across
    survey.inputs = inputs_of(
        machine=machine,
        along=means_to_read(instrument=instrument, at=measured_at),
        across=means_to_read(instrument=across, at=measured_at) if across else None,
        measured_at=measured_at,
        stance=seen.stance,
        gap=seen.gap,
        gap_unit=seen.gap_unit,
        gap_step_turns=seen.gap_step_turns,
        weights_kg=seen.weights_kg,
    )
    readings = readings_of(seen.readings, survey.inputs)
    _refuse_readings(readings)
    assessment = _whole(assess(readings=readings, inputs=survey.inputs, spec=survey.spec))
    for name, value in assessment.columns.items():
        setattr(survey, name, value)
    survey.stance, survey.gap_unit, survey.gap_step_turns = seen.stance, seen.gap_unit, seen.gap_step_turns
    survey.gap_text, survey.gap_mm = seen.gap_text, survey.inputs["stance"]["gap_mm"]
    survey.light_foot = survey.inputs["stance"]["light"]
    survey.weights = list(seen.weights_text) if seen.stance == "weighed" else []
    survey.measured_at, survey.note = measured_at, seen.note
    survey.preconditions = [name for name in PRECONDITIONS if name in seen.preconditions]
    survey.engine_version = VERSION
    add(by, survey, verb="corrected" if survey.supersedes_id else "added", readings=readings)
    return assessment


def _whole(assessment: Assessment | None) -> Assessment:
    """What the readings say, or a refusal that names the reading that is missing."""
    if assessment is None or not assessment.pitch.known:
        lacks = assessment.lacks["along"] if assessment else ""
        raise ActionRefused(_sentence(lacks, "along") or "Take one reading along the playfield: it tells the pitch.")
    if not assessment.roll.known:
        lacks = assessment.lacks["across"]
        raise ActionRefused(_sentence(lacks, "across") or "Take one reading across the playfield: it tells the roll.")
    return assessment


def _sentence(lacks: str, way: str) -> str:
    """Why a direction is not known though something was read, as a sentence; "" if nothing was."""
    return f"{LACKS_WORDS[lacks].format(way=way)}." if lacks else ""


def _measured_at(seen: Seen, by: Author) -> datetime.datetime:
    """When it was measured; never later than now, since a survey dated after turns to come would hide them."""
    return by.when(seen.measured_at, field="measured_at", happened="it was measured")


def _refuse_stance(seen: Seen, machine: Machine) -> None:
    if seen.stance not in (*LEGS, "all_bearing", "unknown", "weighed"):
        raise ActionRefused("Say which foot is light, that all four bear, or that nobody checked.", field="stance")
    if not MOST_EXACT_STEP <= seen.gap_step_turns <= 1:
        raise ActionRefused("Say to which part of a turn you counted: from 1/100 to 1.", field="gap_step_turns")
    if seen.stance == "weighed":
        _refuse_weights(seen, machine)
    gap_mm = gap_in_mm(seen.gap, unit=seen.gap_unit, lead_mm=machine.lead_mm)
    if seen.stance in LEGS and not 0 < gap_mm <= MOST_GAP_MM:
        raise ActionRefused(
            f"Write the gap under {seen.stance}: above 0 and up to {MOST_GAP_MM:g} mm. More is not a light foot "
            "but a leg that is off.",
            field="gap",
        )


def _refuse_weights(seen: Seen, machine: Machine) -> None:
    if not len(seen.weights_kg) == len(seen.weights_text) == len(LEGS) or sum(seen.weights_kg) <= 0:
        raise ActionRefused("Write what the scale under each of the four feet shows.", field="weight_fl")
    if weighed_feet(weights_kg=seen.weights_kg, machine=machine) is None:
        raise ActionRefused(
            "Two feet of one end or one side carry nothing: the machine would tip. Look at the scales again.",
            field="weight_fl",
        )


def _refuse_readings(readings: list[Reading]) -> None:
    if len(readings) > 2 * MOST_READINGS:
        raise ActionRefused(f"Keep to {MOST_READINGS} readings in one survey.")
    if any(abs(reading.tilt_deg) > MOST_TILT_DEG + 1e-9 for reading in readings):
        raise ActionRefused(f"One reading is steeper than {MOST_TILT_DEG:g}°. Check the number and its unit.")


def _learn_offset(by: Author, survey: Survey) -> None:
    """Keep the machine's offset if this fresh survey, on known floor and legs, tells it more surely than before."""
    machine, bay = survey.machine, survey.bay
    newest = newest_survey(machine=machine)
    if bay is None or newest is None or newest.pk != survey.pk or by.at - survey.measured_at > _FRESH:
        return
    slope = slopes_by_bay(bays=[bay]).get(bay.pk)
    turned = Adjustment.objects.for_org(survey.organization_id).filter(plan__machine=machine)
    if slope is None or turned.filter(turned_at__gt=survey.measured_at).exists():
        return
    legs = list(Leg.objects.for_org(survey.organization_id).filter(machine=machine).order_by("place"))
    learned = offset_from(survey=survey, machine=machine, bay=bay, legs=legs, slope=slope)
    if learned is None:
        return
    found: dict[str, float] = {}
    for mode in ("pitch", "roll"):
        if getattr(learned, f"u_{mode}_offset_deg") < getattr(machine, f"u_{mode}_offset_deg"):
            found |= {name: getattr(learned, name) for name in (f"{mode}_offset_deg", f"u_{mode}_offset_deg")}
    if found:
        old = {name: getattr(machine, name) for name in found}
        # The version stays: nobody edits these, so a machine's form that is open now must not turn stale.
        Machine.objects.for_org(survey.organization_id).filter(pk=machine.pk).update(**found)
        for name, value in found.items():
            setattr(machine, name, value)
        note(by, machine, "learned offset", old=old, new={**found, "survey": str(survey.pk)})
