"""`manage.py demo --no-serve`: an invented operation of two years, and a table of what is out of spec."""

import datetime
import re
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from collection.checks import database, stored
from collection.demo import cast
from collection.models import Machine, MachineStatus, Plan, Report, Site, Survey
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def half_syncs_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    """Test databases do not wait for the disk, which a start refuses, and the test's own transaction holds the book,
    which a start takes for locked by others; its other checks run."""
    monkeypatch.setattr(stored, "_option_faults", lambda _: [])
    monkeypatch.setattr(database, "_opening_faults", lambda _: [])


def printed() -> str:
    out = StringIO()
    call_command("demo", "--no-serve", stdout=out)
    return out.getvalue()


@pytest.mark.long
@pytest.mark.one_database
def test_it_builds_two_years_once_and_prints_the_turns() -> None:
    table = printed()
    assert Site.objects.count() >= 5
    assert Machine.objects.count() >= 40
    times = Survey.objects.order_by("measured_at").values_list("measured_at", flat=True)
    assert times[len(times) - 1] - times[0] > datetime.timedelta(days=700)
    assert Plan.objects.filter(state="signed_off").count() > 20
    for status in MachineStatus.objects.filter(verdict="out").select_related("machine"):
        assert re.search(rf"{status.machine.title}.*\n.*chance of being in spec.*\n.*lift", table)

    assert Report.objects.get().machine.report_links.exists()

    levelling_works()

    surveys = Survey.objects.count()
    again = printed()
    assert Survey.objects.count() == surveys
    assert again.splitlines()[-20:] == table.splitlines()[-20:]


def levelling_works() -> None:
    """Check readings after a plan are in spec far more often than the routine ones that led to it."""
    checks = list(Survey.objects.filter(purpose="check").values_list("verdict", flat=True))
    assert len(checks) > 50
    assert checks.count("in") / len(checks) > 0.9


def test_it_does_not_mix_with_somebodys_own_book() -> None:
    make.OrganizationFactory()
    with pytest.raises(CommandError, match="somebody's own work"):
        printed()


def test_its_titles_are_enough_and_differ() -> None:
    assert len(set(cast.TITLES)) == len(cast.TITLES) >= 40
