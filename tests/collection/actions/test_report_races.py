"""Labels and reports at the same moment: one effect, and the limit holds."""

import uuid

import pytest

from collection import models
from collection.actions.reports import ReportedOften, close_report, make_label
from collection.models.reports import PROBLEMS
from collection.presets import MOST_REPORTS
from tests import factories as make
from tests.collection.actions.test_races import together
from tests.reporting import told
from tests.surveying import author
from tests.worlds import TernTaproom, tern_taproom

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def taproom(transactional_db: None) -> TernTaproom:
    world = tern_taproom()
    assert world.report_link
    return world


def test_one_problem_told_by_many_at_once_is_one_report(taproom: TernTaproom) -> None:
    found = together(*(lambda: told(taproom) for _ in range(4)))
    assert len({report.pk for report in found}) == 1
    assert models.Report.objects.count() == 1


def test_one_page_pressed_many_times_at_once_is_one_report(taproom: TernTaproom) -> None:
    key = uuid.uuid4()
    together(*(lambda: told(taproom, key=key) for _ in range(4)))
    assert models.Report.objects.values("times").get() == {"times": 1}


def test_the_limit_holds_at_once(taproom: TernTaproom) -> None:
    """Five are taken, so one more is; the problem that was closed may be told anew only once."""
    for problem in PROBLEMS:
        close_report(by=author(taproom.people.bob, why="Play."), report=told(taproom, problem))

    def tell(problem: str) -> str:
        try:
            told(taproom, problem)
        except ReportedOften:
            return "often"
        return "taken"

    found = together(*(lambda problem=problem: tell(problem) for problem in PROBLEMS[:4]))
    assert sorted(found) == ["often"] * 3 + ["taken"]
    assert models.Report.objects.count() == MOST_REPORTS


def test_labels_made_at_once_are_one(taproom: TernTaproom) -> None:
    other = make.MachineFactory(member=taproom.people.alice)
    made = together(*(lambda: make_label(by=author(taproom.people.bob), machine=other) for _ in range(4)))
    assert len({link.pk for link in made}) == 1
