"""The due date in a machine's status: when it is set, and what of a machine's life makes it another."""

import datetime

from django.utils import timezone

from collection import models
from collection.actions.floors import change_floor
from collection.actions.forecasts import fill_due_dates
from collection.actions.machines import set_spec
from collection.actions.plans import record_turns
from collection.actions.surveys import correct_survey
from collection.management.tables import bring_up_to_date
from tests import factories as make
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

DAY = datetime.timedelta(days=1)


def status(world: TernTaproom) -> models.MachineStatus:
    return models.MachineStatus.objects.get(machine=world.machine)


def surveyed(world: TernTaproom, pitch: float = 6.5) -> models.Survey:
    readings = [along(pitch, spot="middle"), across(0, "level", spot="lower_centre")]
    machine = models.Machine.objects.get(pk=world.machine.pk)
    return survey_of(machine, by=world.people.bob, instrument=world.instrument, readings=readings)


def test_a_survey_sets_it_to_the_beginning_of_a_day_at_the_site(taproom: TernTaproom) -> None:
    models.Site.objects.filter(pk=taproom.site.pk).update(time_zone="Pacific/Kiritimati")  # UTC+14, no summer time
    assert status(taproom).due_at is None
    surveyed(taproom)
    due = status(taproom).due_at
    assert due
    assert due > NOON
    assert due.astimezone(datetime.UTC).hour == 10, "midnight there is 10 o'clock the day before"
    assert status(taproom).due_quantity in ("pitch", "roll", "gap")


def test_turning_takes_it_away_until_it_is_read_again(taproom: TernTaproom) -> None:
    plan = taproom.plan
    assert status(taproom).due_at
    record_turns(by=author(taproom.people.bob, NOON + DAY), plan=plan, lift=1)
    assert (status(taproom).due_at, status(taproom).due_quantity) == (None, "")


def test_another_spec_makes_another(taproom: TernTaproom) -> None:
    """Wanted steeper by a degree, it is out of spec as it was surveyed, so that it is due since that day."""
    surveyed(taproom)
    before = status(taproom).due_at
    numbers = {"pitch_deg": 7.5, "pitch_tolerance_deg": 0.2, "roll_tolerance_deg": 0.15, "gap_tolerance_mm": 0.5}
    machine = models.Machine.objects.get(pk=taproom.machine.pk)
    set_spec(by=author(taproom.people.alice, timezone.now() + DAY), machine=machine, version=1, why="faster", **numbers)
    after = status(taproom)
    assert before
    assert before > NOON
    assert (after.due_at, after.due_quantity) == (NOON.replace(hour=0), "pitch")


def test_a_corrected_survey_makes_another(taproom: TernTaproom) -> None:
    survey = surveyed(taproom, pitch=7.5)
    before = status(taproom).due_at
    correct_survey(
        by=author(taproom.people.bob, NOON + DAY, why="slip of the pen"), survey=survey, stance="all_bearing",
        instrument=taproom.instrument, readings=[along(6.5, spot="middle"), across(0, "level", spot="lower_centre")],
    )  # fmt: skip
    after = status(taproom).due_at
    assert before
    assert after
    assert after > before


def test_another_surface_makes_another_for_each_machine_on_it(taproom: TernTaproom) -> None:
    surveyed(taproom)
    before = status(taproom).due_at
    fields = {name: getattr(taproom.floor, name) for name in ("name", "width_mm", "depth_mm")}
    change_floor(by=author(taproom.people.alice), floor=taproom.floor, version=1, surface="timber", **fields)
    after = status(taproom).due_at
    assert before
    assert after
    assert after < before, "timber moves more"


def test_an_older_book_is_filled_a_few_at_a_time(taproom: TernTaproom) -> None:
    """Machines surveyed before there were due dates get theirs; what was not surveyed gets none, and it ends."""
    surveyed(taproom)
    wanted = status(taproom).due_at
    models.MachineStatus.objects.update(due_at=None, due_quantity="")
    # A chance without a survey that stands: nothing to fill, and nothing to go round in circles about.
    odd = make.MachineFactory(member=taproom.people.alice, bay=make.BayFactory(member=taproom.people.alice))
    models.MachineStatus.objects.filter(machine=odd).update(chance=0.5)
    last = fill_due_dates()
    while last:
        last = fill_due_dates(after=last)
    assert status(taproom).due_at == wanted
    assert models.MachineStatus.objects.get(machine=odd).due_at is None
    bring_up_to_date()  # nothing waits to be migrated
    assert status(taproom).due_at == wanted
    assert wanted
    assert wanted < timezone.now() + 800 * DAY
