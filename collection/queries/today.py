"""Reads for the first page: what needs someone, and how far a new organization has come."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Model, OuterRef, Subquery

from collection.access import visible
from collection.models import Bay, Floor, Instrument, Machine, Membership, Organization, Site, Survey

#: In the order in which a newcomer takes them, each with what it is for.
STEPS = (
    ("site", "Add a site", "The address where machines stand."),
    ("floor", "Draw its floor", "Its size, and its slope when you have a level at hand."),
    ("bay", "Mark a bay", "One machine's standing place on the floor."),
    ("machine", "Add a machine", "Body and era are enough: no tape measure."),
    ("instrument", "Add your level", "A plain digital level with 0.1° will do."),
    ("survey", "Survey the machine", "Two readings tell what to turn."),
)
_TABLES = {"site": Site, "floor": Floor, "bay": Bay, "machine": Machine, "instrument": Instrument}


@dataclass(frozen=True)
class Step:
    """One of the first steps: done, next, or later. ``under`` is the row that the next step starts from."""

    noun: str
    words: str
    what_for: str
    state: str
    under: UUID | None


def first_steps(*, member: Membership) -> list[Step]:
    """Return the first steps of a new organization in order; an empty list once all are done."""
    newest: dict[str, Any] = {noun: _newest(member, table) for noun, table in _TABLES.items()}
    surveys = Survey.objects.for_org(member.organization_id).filter(organization=OuterRef("pk"))
    newest["survey"] = Subquery(surveys.values("pk")[:1])
    found: Any = Organization.objects.filter(pk=member.organization_id).values(**newest).get()
    undone = [noun for noun, _, _ in STEPS if found[noun] is None]
    if not undone:
        return []
    under = {"floor": found["site"], "bay": found["floor"], "machine": found["bay"], "survey": found["machine"]}
    return [Step(noun, words, what_for, _state(noun, undone), under.get(noun)) for noun, words, what_for in STEPS]


def _newest(member: Membership, table: type[Model]) -> Subquery:
    rows = visible(member, table).filter(organization=OuterRef("pk"), archived_at__isnull=True)
    return Subquery(rows.order_by("-created_at", "-id").values("pk")[:1])


def _state(noun: str, undone: list[str]) -> str:
    if noun not in undone:
        return "done"
    return "next" if noun == undone[0] else "later"
