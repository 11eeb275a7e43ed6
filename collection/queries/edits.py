"""Who last wrote each column of a row, from the history: what a merge says beside what is stored now."""

from uuid import UUID

from collection.models import Change, Leg, Membership
from collection.models.machines import LEGS

#: A merge is about what happened since a page was opened: older lines tell nothing.
LINES = 200


def lines_by_column(*, member: Membership, row_id: UUID) -> dict[str, Change]:
    """Return the newest line of the history by the column that it wrote; those of a machine's legs as FL_length_mm."""
    legs = Leg.objects.for_org(member.organization_id).filter(machine=row_id)
    prefixes = {leg.pk: f"{LEGS[leg.place]}_" for leg in legs}
    lines = Change.objects.for_org(member.organization_id).filter(row_id__in=[row_id, *prefixes])
    found: dict[str, Change] = {}
    for line in lines.select_related("created_by").order_by("-created_at")[:LINES]:
        for name in line.new:
            found.setdefault(prefixes.get(line.row_id, "") + name, line)
    return found
