"""What somebody tells through the label on Lantern Reef, a survey that finds it in spec, and what lists show then."""

import datetime
import uuid
from typing import Any

from collection import models
from collection.actions.reports import report_problem
from tests.factories import NOON
from tests.surveying import across, along, survey_of
from tests.worlds import TernTaproom

#: Reversed pairs in the middle of the usual spec.
IN_SPEC = [along(6.5, turned_value=6.5), across(0, "level", turned_value=0, turned_high_end="level")]


def told(
    taproom: TernTaproom, problem: str = "rolls_left", at: datetime.datetime = NOON, key: Any = None
) -> models.Report:
    """Tell a problem through the machine's label, at noon from a page of its own unless told otherwise."""
    return report_problem(link=taproom.report_link, problem=problem, key=key or uuid.uuid4(), at=at)


def surveyed(taproom: TernTaproom, at: datetime.datetime, **seen: Any) -> models.Survey:
    """Bob surveys the machine: in spec unless told otherwise."""
    seen = {"readings": IN_SPEC, **seen}
    return survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=at, **seen)


def status_of(taproom: TernTaproom) -> models.MachineStatus:
    """What lists show of the machine now."""
    status: models.MachineStatus = models.MachineStatus.objects.get(machine=taproom.machine)
    return status
