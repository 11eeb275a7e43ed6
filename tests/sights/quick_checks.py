"""Quick checks in their states: nothing learned, learning, the first pair, in and out of spec, another level, moved."""

import datetime
from collections.abc import Iterator

from django.urls import reverse
from django.utils import timezone

from collection import models
from tests import factories as make
from tests.sights.pages import Sight
from tests.surveying import across, along, survey_of
from tests.worlds import TernTaproom, glass_read

_DAY, _MINUTE = datetime.timedelta(days=1), datetime.timedelta(minutes=1)
_IN_SPEC = [along(6.5, turned_value=6.5), across(0, "level", turned_value=0, turned_high_end="level")]


def quick_checks(world: TernTaproom) -> Iterator[Sight]:
    """Yield the pages of quick checks in every state, of two machines."""
    who, now = world.people.alice.user, timezone.now()
    bare = make.MachineFactory(member=world.people.alice, title="Tin Kettle", bay__floor=world.floor)
    yield Sight("quick_check_new", "nothing-learned", who, reverse("quick_check_new", args=[bare.pk]))
    machine = make.MachineFactory(member=world.people.alice, title="Paper Lighthouse", bay__floor=world.floor)
    kinds: dict[str, models.QuickCheck] = {}
    for days in (90, 30):
        survey = _survey(world, machine, now - days * _DAY)
        kinds["pair"] = glass_read(
            world, 5.3, (0.1, "left"), at=now - days * _DAY + _MINUTE, pair_with=survey, machine=machine
        )
    kinds["in"] = glass_read(world, 5.3, (0.1, "left"), at=now - 3 * _DAY, machine=machine)
    other = make.InstrumentFactory(member=world.people.alice, name="Long level in mm/m", unit="mm_per_m")
    shown = {"instrument": other, "unit": "mm_per_m", "machine": machine}
    kinds["another-level"] = glass_read(world, 93, (0, "level"), at=now - 2 * _DAY, **shown)
    kinds["out"] = glass_read(world, 6.1, (0.4, "right"), at=now - _DAY, machine=machine)
    for kind, check in kinds.items():
        yield Sight("quick_check", kind, who, reverse("quick_check", args=[check.pk]))
    yield Sight("machine", "quick-check", who, reverse("machine", args=[machine.pk]))
    yield Sight("quick_check_new", "paired", who, reverse("quick_check_new", args=[machine.pk]))
    fresh = make.MachineFactory(member=world.people.alice, title="Marsh Weather", bay__floor=world.floor)
    survey = _survey(world, fresh, now)
    yield Sight("survey", "glass-back-in", who, reverse("survey", args=[survey.pk]))
    yield Sight("quick_check_new", "learning", who, reverse("quick_check_new", args=[fresh.pk]) + "?learn")


def _survey(world: TernTaproom, machine: models.Machine, at: datetime.datetime) -> models.Survey:
    return survey_of(machine, by=world.people.bob, instrument=world.instrument, readings=_IN_SPEC, at=at)
