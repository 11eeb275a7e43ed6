"""Writes about vials: add one to its machine, record a pair, leave a pair out."""

from typing import Any

from django.db import transaction

from collection.actions.instruments import create_instrument
from collection.actions.record import ActionRefused, Author, add, already_done, values
from collection.arrays.vials import pair_inputs, pair_tilt_deg, position_lines
from collection.models import Instrument, Machine, VialPair
from collection.presets import MOST_TILT_DEG
from collection.queries.instruments import zero_of

#: No playfield is steeper.


@transaction.atomic
def create_vial(*, by: Author, machine: Machine, **fields: Any) -> Instrument:
    """Add a vial to the machine that it is built into. Refuses an archived machine and a name that is taken."""
    if machine.archived_at is not None:
        raise ActionRefused("This machine is archived. Bring it back first.")
    return create_instrument(by=by, kind="vial", machine=machine, **fields)


@transaction.atomic
def record_pair(
    *,
    by: Author,
    vial: Instrument,
    level: Instrument,
    shown: float,
    shown_text: str,
    unit: str,
    high_end: str,
    lines: float,
    lines_text: str,
    side: str,
) -> VialPair:
    """Record where a vial's bubble stood and what a level on the playfield showed at the same moment.

    Refuses what is no vial, a level that shows no number, a bubble beyond the last line, and a slope that no
    playfield has.
    """
    if found := already_done(VialPair, by):
        return found
    if vial.kind != "vial":
        raise ActionRefused("Pairs teach a vial. This is none.")
    if not level.has_zero or level.archived_at is not None:
        raise ActionRefused("Choose a level that shows a number and is in use.", field="level")
    if lines > vial.reach_lines:
        raise ActionRefused(
            f"The last line is {vial.reach_lines:g} from the middle: beyond it a bubble cannot be read.", field="lines"
        )
    zero = zero_of(instrument=level, at=by.done_at)
    inputs = pair_inputs(vial=vial, level=level, zero=zero, at=by.done_at)
    tilt_deg = pair_tilt_deg(shown=shown, unit=unit, high_end=high_end, inputs=inputs)
    if abs(tilt_deg) > MOST_TILT_DEG + 1e-9:
        raise ActionRefused(f"That is steeper than {MOST_TILT_DEG:g}°. Check the number and its unit.", field="shown")
    return add(
        by,
        VialPair(
            id=by.key, vial=vial, level=level, lines_text=lines_text, bubble_side=side,
            position_lines=position_lines(lines, side), level_text=shown_text, level_unit=unit, level_high=high_end,
            tilt_deg=tilt_deg, inputs=inputs, read_at=by.done_at,
        ),
    )  # fmt: skip


@transaction.atomic
def leave_out(*, by: Author, pair: VialPair) -> VialPair:
    """Leave a wrong pair out of what a vial learns, with the reason: a row that names it. The pair stays readable.

    Refuses without a reason, and a pair that is left out already.
    """
    if found := already_done(VialPair, by):
        return found
    if not by.why:
        raise ActionRefused("Say what was wrong with this pair.", field="why")
    if pair.supersedes_id or VialPair.objects.for_org(pair.organization_id).filter(supersedes=pair).exists():
        raise ActionRefused("This pair is left out already.")
    return add(by, VialPair(**{**_columns(pair), "id": by.key, "supersedes_id": pair.pk, "why": by.why}))


def _columns(pair: VialPair) -> dict[str, Any]:
    """The pair's own columns by the names that its table has."""
    names = {field.name: field.attname for field in VialPair._meta.fields}
    return {names[name]: value for name, value in values(pair).items()}
