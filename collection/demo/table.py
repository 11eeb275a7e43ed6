"""The demo's table: what is out of spec, how sure, and what to turn."""

from typing import Any

from collection.arrays.plans import PlanRows, plans_of_many, turns_summary
from collection.models import Machine, Membership
from collection.queries.machines import machines_of
from collection.queries.response import record_of, response_of


def out_of_spec(*, member: Membership) -> list[dict[str, Any]]:
    """Return the machines out of spec with their place, readings, chance of being in spec, and turns in one line."""
    machines = machines_of(member=member, verdict="out").prefetch_related("legs")
    rows = [rows_of(machine) for machine in machines]
    return [
        {
            "machine": each.machine,
            "survey": each.survey,
            "foot": each.survey.light_foot if each.survey else "",
            "turns": turns_summary(answer),
        }
        for each, answer in zip(rows, plans_of_many(rows=rows), strict=True)
    ]


def rows_of(machine: Machine) -> PlanRows:
    """Return what a plan of a machine out of spec starts from: its newest survey."""
    survey, spec = machine.status.survey, machine.status.spec
    if survey is None or spec is None:
        raise ValueError("a machine out of spec has a survey and a spec")
    taught = response_of(record=record_of(machine=machine)).taught
    return PlanRows(machine=machine, legs=list(machine.legs.all()), spec=spec, survey=survey, taught=taught)
