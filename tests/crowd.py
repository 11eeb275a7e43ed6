"""Many machines at once, copied by the database from one that was made and surveyed by our own actions."""

import uuid
from typing import Any

from collection import models
from tests.worlds import TernTaproom

#: Rows of one machine that lists and pages read; the survey comes with its readings.
_PARTS: tuple[type[Any], ...] = (models.Leg, models.Spec, models.Standing)


def crowd(taproom: TernTaproom, count: int) -> None:
    """Stand ``count`` more machines on the taproom's floor, each surveyed like Lantern Reef."""
    survey = taproom.survey
    machines, bays = [], []
    first = models.Machine.objects.count()
    for number in range(first, first + count):
        bays.append(_copy(taproom.bay, name=f"Bay c{number}"))
        machines.append(_copy(taproom.machine, code=f"C-{number}", title=f"Marsh Weather {number}", bay=bays[-1]))
    models.Bay.objects.bulk_create(bays)
    models.Machine.objects.bulk_create(machines)
    for table in _PARTS:
        parts = list(table.objects.filter(machine=taproom.machine))
        table.objects.bulk_create([_copy(part, machine=machine) for machine in machines for part in parts])
    surveys = [_copy(survey, machine=machine, plan=None) for machine in machines]
    models.Survey.objects.bulk_create(surveys)
    status = models.MachineStatus.objects.get(machine=taproom.machine)
    models.MachineStatus.objects.bulk_create(
        _copy(status, machine=machine, survey=found, plan=None)
        for machine, found in zip(machines, surveys, strict=True)
    )


def _copy(row: Any, **changes: Any) -> Any:
    """Return an unsaved row with the same columns but these, and a key of its own."""
    columns = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    made = type(row)(**columns)
    if hasattr(row, "id"):
        made.id = uuid.uuid4()
    for name, value in changes.items():
        setattr(made, name, value)
    return made
