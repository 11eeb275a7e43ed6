"""Writes about quick checks: a reading along and one across on rail or glass, or a pair beside a survey."""

from django.db import transaction

from collection.actions.instruments import Shown
from collection.actions.record import ActionRefused, Author, add, already_done, hold
from collection.actions.status import refresh_status
from collection.arrays.quick_checks import inputs_of, judged, pair_inputs
from collection.models import Instrument, Machine, QuickCheck, Survey
from collection.models.quick_checks import PLACES
from collection.presets import MOST_TILT_DEG
from collection.queries.quick_checks import basis_of, rail_of, why_no_pair
from collection.queries.surveys import current_spec, newest_survey
from leveling import VERSION

#: No rail is steeper; the forms say so in their own unit.


@transaction.atomic
def record_quick_check(
    *,
    by: Author,
    machine: Machine,
    instrument: Instrument,
    place: str,
    unit: str,
    pitch: Shown,
    roll: Shown,
    pair_with: Survey | None = None,
) -> QuickCheck:
    """Record what a level showed on the rail or the glass, judged by the pairs so far; with a survey it is a pair.

    Refuses an archived machine or level, a level without a number, an unknown place, a steep reading, a pair with a
    survey that is not the newest of this very visit, and a check where nothing was learned yet.
    """
    machine = hold(machine)
    if found := already_done(QuickCheck, by):
        return found
    _refuse(machine, instrument, place)
    spec, at = current_spec(machine=machine), by.done_at
    if spec is None:
        raise ActionRefused("Nobody said what this machine should read. Set its spec first.")
    if pair_with is not None:
        _refuse_pair(machine, pair_with, by)
    basis = basis_of(machine=machine, instrument=instrument, place=place, spec=spec, at=at, alone=pair_with is not None)
    rail = rail_of(basis, ((pitch.number, pitch.high_end), (roll.number, roll.high_end)), unit)
    for name, tilt_deg in zip(("pitch", "roll"), rail, strict=True):
        if abs(tilt_deg) > MOST_TILT_DEG + abs(pair_inputs(basis)["instrument"]["zero_deg"]) + 1e-9:
            raise ActionRefused(f"That is steeper than {MOST_TILT_DEG:g}°. Check the number and its unit.", field=name)
    check = QuickCheck(
        id=by.key, machine=machine, bay_id=machine.bay_id, instrument=instrument, spec=spec, survey=pair_with,
        place=place, measured_at=at, unit=unit, pitch_text=pitch.text, pitch_high=pitch.high_end,
        roll_text=roll.text, roll_high=roll.high_end, pitch_rail_deg=rail[0], roll_rail_deg=rail[1],
        inputs=pair_inputs(basis) if pair_with else inputs_of(basis), engine_version=VERSION,
    )  # fmt: skip
    if pair_with is None:
        answer = judged(place=place, rail_deg=rail, inputs=check.inputs, spec=spec)
        if answer is None:
            raise ActionRefused(
                f"Nobody has read playfield and {place} together yet, so this tells nothing of the playfield. Survey "
                f"the machine, then read the {place} and learn from it.",
                field="place",
            )
        for name, value in answer.columns.items():
            setattr(check, name, value)
    add(by, check)
    refresh_status(machine=machine)
    return check


def _refuse(machine: Machine, instrument: Instrument, place: str) -> None:
    if machine.archived_at is not None:
        raise ActionRefused("This machine is archived. Bring it back first.")
    if instrument.archived_at is not None:
        raise ActionRefused("This level is archived. Choose another, or bring it back.", field="instrument")
    if not instrument.has_zero:
        raise ActionRefused("A quick check needs a level that shows a number.", field="instrument")
    if place not in PLACES:
        raise ActionRefused("Say whether the level lies on the glass or on the side rail.", field="place")


def _refuse_pair(machine: Machine, survey: Survey, by: Author) -> None:
    newest = newest_survey(machine=machine)
    if newest is None or newest.pk != survey.pk:
        raise ActionRefused("That is not the newest survey of this machine. Open this page again.", field="pair_with")
    why = why_no_pair(machine=machine, survey=newest, at=by.done_at)
    if why:
        raise ActionRefused(why, field="pair_with")
