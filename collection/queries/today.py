"""Reads for the first page: what needs someone, and how far a new organization has come."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import Subquery

from collection.access import visible
from collection.models import Bay, Instrument, Machine, MachineStatus, Membership, Organization, Plan

#: In the order in which a newcomer takes them, each with what it is for.
STEPS = (
    ("machine", "Add your first machine", "Its title and the site where it stands. The rest has its usual value."),
    ("instrument", "Add your level", "Any digital level that shows 0.1° will do."),
    ("survey", "Survey the machine", "Two readings, one along and one across the playfield, tell how it stands."),
    ("plan", "Turn the legs, sign off", "A leg plan says which leg, which way and how far. Then you read once more."),
)


@dataclass(frozen=True)
class Step:
    """One of the first steps: done, next, or later; and the page where it is done, by its name and its row."""

    words: str
    what_for: str
    state: str
    page: str
    row: UUID | None


def first_steps(*, member: Membership) -> list[Step]:
    """Return the first steps of a new organization in order; an empty list once they are behind it.

    That is so when a leg plan was signed off, when the first survey asked for none, or when a second machine is
    surveyed: from then on the list of machines says what is next.
    """
    found = _found(member)
    in_spec, too_close = (found["verdict"] == word and not found["plan"] for word in ("in", "borderline"))
    if found["instrument"] and (found["signed_off"] or found["second_survey"] or in_spec):
        return []
    pages = {
        "machine": ("machine_new", found["bay"]),
        "instrument": ("instrument_new", found["machine"]),
        "survey": ("survey_new", found["machine"]),
        "plan": ("plan", found["plan"]) if found["plan"] else ("survey", found["survey"]),
    }
    undone = [noun for noun in pages if noun == "plan" or found[noun] is None or (noun == "survey" and too_close)]
    return [Step(words, what_for, _state(noun, undone), *pages[noun]) for noun, words, what_for in STEPS]


def _found(member: Membership) -> dict[str, Any]:
    """The newest row of each kind that the steps ask for, in one query."""
    surveyed = MachineStatus.objects.for_org(member.organization_id).filter(survey__isnull=False)
    surveyed = surveyed.order_by("-survey__measured_at", "machine")
    plans = visible(member, Plan).order_by("-created_at", "-id")
    asked: dict[str, Any] = {
        **{noun: _newest(member, table) for noun, table in (("bay", Bay), ("machine", Machine))},
        "instrument": _newest(member, Instrument),
        "survey": Subquery(surveyed.values("survey")[:1], output_field=models.UUIDField()),
        "verdict": Subquery(surveyed.values("verdict")[:1]),
        "second_survey": Subquery(surveyed.values("survey")[1:2]),
        "plan": Subquery(plans.filter(state__in=("open", "turned")).values("pk")[:1]),
        "signed_off": Subquery(plans.filter(state="signed_off").values("pk")[:1]),
    }
    return dict(Organization.objects.filter(pk=member.organization_id).values(**asked).get())


def _newest(member: Membership, table: type[models.Model]) -> Subquery:
    rows = visible(member, table).filter(archived_at__isnull=True)
    return Subquery(rows.order_by("-created_at", "-id").values("pk")[:1])


def _state(noun: str, undone: list[str]) -> str:
    if noun not in undone:
        return "done"
    return "next" if noun == undone[0] else "later"
