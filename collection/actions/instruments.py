"""Writes about instruments, the checks of their zero, and what happens to them."""

import datetime
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from collection.actions.record import ActionRefused, Author, add, already_done, change
from collection.arrays.instruments import zero_found
from collection.models import Instrument, InstrumentEvent, ZeroCheck
from collection.queries.instruments import is_used
from leveling import VERSION

#: A larger zero is no zero error but a wrong high end or a broken level; the database holds the same range.
MOST_ZERO_DEG = 5


@dataclass(frozen=True)
class Shown:
    """One reading of a zero check: the text that was typed, its number, and the side of the surface that was high."""

    text: str
    number: float
    high_end: str


@transaction.atomic
def create_instrument(*, by: Author, **fields: Any) -> Instrument:
    """Add an instrument. Refuses a name that another instrument has."""
    if found := already_done(Instrument, by):
        return found
    _refuse_same_name(by, fields["name"])
    return add(by, Instrument(id=by.key, **fields))


@transaction.atomic
def change_instrument(*, by: Author, instrument: Instrument, version: int, **fields: Any) -> Instrument:
    """Change an instrument.

    Refuses a stale edit, a name that another instrument has, and another kind, or direction of a vial, once it was
    used: what was read with it would mean something else.
    """
    _refuse_same_name(by, fields["name"], but=instrument)
    _refuse_another_kind(instrument, fields)
    return change(by, instrument, version=version, **fields)


@transaction.atomic
def check_zero(*, by: Author, instrument: Instrument, unit: str, first: Shown, turned: Shown) -> ZeroCheck:
    """Store a zero check: marked end to the right, then turned end for end on the same line.

    Refuses an instrument that shows no number, and a zero so large that a high end was told wrong.
    """
    if found := already_done(ZeroCheck, by):
        return found
    if not instrument.has_zero:
        raise ActionRefused(f"A {instrument.kind_words} shows no number, so it has no zero to check.")
    zero = zero_found(
        instrument=instrument,
        unit=unit,
        shown=(first.number, turned.number),
        high_ends=(first.high_end, turned.high_end),
    )
    if abs(zero.zero_deg) > MOST_ZERO_DEG:
        raise ActionRefused(
            f"That would be a zero error of more than {MOST_ZERO_DEG} degrees. Check which side was high each time."
        )
    return add(
        by,
        ZeroCheck(
            id=by.key, instrument=instrument, unit=unit, first_text=first.text, first_high=first.high_end,
            reversed_text=turned.text, reversed_high=turned.high_end, zero_deg=zero.zero_deg,
            u_zero_deg=zero.u_zero_deg, engine_version=VERSION, checked_at=by.done_at,
        ),
    )  # fmt: skip


@transaction.atomic
def record_event(
    *, by: Author, instrument: Instrument, kind: str, happened_at: datetime.datetime | None = None, note: str = ""
) -> InstrumentEvent:
    """Record what happened to an instrument, by default just now: its last zero check does not count after that.

    Refuses a time to come.
    """
    if found := already_done(InstrumentEvent, by):
        return found
    at = by.when(happened_at, field="happened_at", happened="it happened")
    return add(by, InstrumentEvent(id=by.key, instrument=instrument, kind=kind, happened_at=at, note=note))


def _refuse_another_kind(instrument: Instrument, fields: dict[str, Any]) -> None:
    kept = {name: fields.get(name, getattr(instrument, name)) for name in ("kind", "direction")}
    if all(getattr(instrument, name) == value for name, value in kept.items()):
        return
    if "vial" in (kept["kind"], instrument.kind) and kept["kind"] != instrument.kind:
        raise ActionRefused("A vial belongs to its machine: add it there.", field="kind")
    if is_used(instrument=instrument):
        field = "kind" if kept["kind"] != instrument.kind else "direction"
        raise ActionRefused("It was used as what it is: that cannot change. Add another instrument.", field=field)


def _refuse_same_name(by: Author, name: str, but: Instrument | None = None) -> None:
    others = Instrument.objects.for_org(by.member.organization_id).live().filter(name=name)
    if but is not None:
        others = others.exclude(pk=but.pk)
    if others.exists():
        raise ActionRefused("Another instrument has this name. Choose a name that tells them apart.", field="name")
