"""Pages on which someone chooses between their own edit and another person's."""

from collections.abc import Iterator
from typing import Any

from django.test import Client
from django.urls import reverse

from collection import models
from tests.collection.forms.test_hostile_posts import fields_of
from tests.sights.pages import HOST, Sight
from tests.worlds import TernTaproom

#: Page, row of the world, what the other person saved, what Alice sends.
EDITS: list[tuple[str, str, dict[str, str], dict[str, str]]] = [
    (
        "site_edit", "site",
        {"name": "Tern Cellar", "address": "6 Mudflat Lane, through the yard, down the steps", "notes": "Ring twice."},
        {"address": "4 Mudflat Lane", "notes": "The key is at the bar.\r\nPark behind the hall."},
    ),
    ("bay_edit", "bay", {"heading_deg": "90", "rear_reachable": ""}, {"x_mm": "1200", "front_reachable": ""}),
    (
        "machine_edit", "machine", {"era": "early_solid_state", "base_mm": "1310", "thread": "other", "lead_mm": "1.6"},
        {"title": "Tin Kettle", "base_mm": "1305"},
    ),
    ("machine_legs", "machine", {"FL_exposure_mm": "13", "RR_pad_mm": "2"}, {"FL_exposure_mm": "14", "FR_pad_mm": "3"}),
    ("machine_spec", "machine", {"pitch_deg": "6.4"}, {"pitch_deg": "6.3", "why": "Slower for children."}),
    (
        "instrument_edit", "instrument", {"unit": "mm_per_m", "resolution": "1", "accuracy": "2", "base_mm": "250"},
        {"resolution": "0.05", "base_mm": "240"},
    ),
]  # fmt: skip


def clashes(world: TernTaproom) -> Iterator[Sight]:
    """Yield each of them as Alice sees it, and a move of a machine that was moved meanwhile."""
    alice, bob = world.people.alice.user, world.people.bob.user
    free = [str(bay.pk) for bay in models.Bay.objects.filter(floor=world.floor, machines__isnull=True)[:2]]
    moves = [("machine_move", "machine", {"bay": free[0]}, {"bay": free[1]})] if len(free) > 1 else []
    for page, noun, theirs, mine in [*EDITS, *moves]:
        path = reverse(page, args=[getattr(world, noun).pk])
        made: dict[str, Any] = {"who": alice, "other": bob, "path": path, "theirs": theirs, "mine": mine}
        yield Sight(page, "clash", alice, path, 409, answer=lambda made=made: _clash(**made))


def _clash(who: models.User, other: models.User, path: str, theirs: dict[str, str], mine: dict[str, str]) -> Any:
    one, two = (Client(SERVER_NAME=HOST) for _ in range(2))
    one.force_login(who)
    two.force_login(other)
    page, their_page = (fields_of(client.get(path).content.decode()).sent for client in (one, two))
    saved = two.post(path, {**their_page, **theirs} | _reason(their_page))
    assert saved.status_code == 302, saved.content.decode()
    return one.post(path, {**page, **mine})


def _reason(page: dict[str, str]) -> dict[str, str]:
    return {"why": "Plays better so."} if "why" in page else {}
