"""Writes about machines, their legs, their spec and where they stand."""

from dataclasses import replace
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from collection import presets
from collection.access import visible
from collection.actions.floors import create_bay_at_site
from collection.actions.record import (
    ActionRefused,
    Author,
    add,
    already_done,
    change,
    hold,
    note,
    refuse_stale,
    was_written,
)
from collection.actions.status import refresh_status
from collection.models import Bay, Leg, Machine, MachineStatus, Spec, Standing
from collection.models.machines import LEGS


@transaction.atomic
def create_machine(*, by: Author, bay: UUID | None, pitch_deg: float | None, **fields: Any) -> Machine:
    """Add a machine with four usual legs, the spec of its era (or its own pitch), and its place if it has one.

    Refuses a code that another machine has, and a bay that is taken.
    """
    if found := already_done(Machine, by):
        return found
    _refuse_same_code(by, fields["code"])
    place = _free_bay(by, bay)
    machine = add(
        by,
        Machine(
            id=by.key, bay=place, pitch_offset_deg=presets.ERAS[fields["era"]].pitch_offset_deg,
            u_pitch_offset_deg=presets.U_PITCH_OFFSET_DEG,
            u_roll_offset_deg=presets.U_ROLL_OFFSET_DEG, **fields,
        ),
    )  # fmt: skip
    for number, name in enumerate(LEGS):
        length, travel = presets.LEG_LENGTH_MM, presets.TRAVEL_MM
        add(by, Leg(id=uuid5(by.key, name), machine=machine, place=number, length_mm=length, travel_mm=travel))
    spec = add(by, _first_spec(by, machine, pitch_deg))
    if place:
        add(by, Standing(id=uuid5(by.key, "standing"), machine=machine, bay=place))
    MachineStatus.objects.create(machine=machine, organization_id=by.member.organization_id, spec=spec)
    refresh_status(machine=machine)
    return machine


@transaction.atomic
def create_machine_at_site(*, by: Author, site_name: str, time_zone: str, surface: str, **fields: Any) -> Machine:
    """Add a machine and a bay for it: at the site of this name, or at a new one with its first floor.

    Refuses what ``create_machine`` refuses, and a site with several floors, where a bay has to be chosen.
    """
    if found := already_done(Machine, by):
        return found
    bay = create_bay_at_site(
        by=replace(by, key=uuid5(by.key, "bay")), site_name=site_name, time_zone=time_zone, surface=surface
    )
    return create_machine(by=by, bay=bay.pk, **fields)


@transaction.atomic
def change_machine(*, by: Author, machine: Machine, version: int, **fields: Any) -> Machine:
    """Change what a machine is. Refuses a stale edit and a code that another machine has."""
    machine = hold(machine)
    _refuse_same_code(by, fields["code"], but=machine)
    changed = change(by, machine, version=version, **fields)
    refresh_status(machine=machine)
    return changed


@transaction.atomic
def change_legs(*, by: Author, machine: Machine, version: int, legs: list[dict[str, float | None]]) -> Machine:
    """Change the four legs, given in leg order. Refuses a stale edit of the machine."""
    machine = hold(machine)
    if was_written(by.member.organization_id, by.write):
        return machine
    rows = Leg.objects.for_org(by.member.organization_id).filter(machine=machine).order_by("place")
    new = {
        row: {name: value for name, value in numbers.items() if getattr(row, name) != value}
        for row, numbers in zip(rows, legs, strict=True)
    }
    if any(new.values()):
        change(by, machine, version=version)
    for row, numbers in new.items():
        if numbers:
            Leg.objects.for_org(by.member.organization_id).filter(pk=row.pk).update(**numbers)
            note(by, row, "changed", old={name: getattr(row, name) for name in numbers}, new=numbers)
    refresh_status(machine=machine)
    return machine


@transaction.atomic
def set_spec(*, by: Author, machine: Machine, version: int, why: str, **numbers: float) -> Spec:
    """Say what a machine should read from now on, and why. The older specs stay in the record.

    ``version`` is how many specs it had when somebody looked. Refuses it if another one came since.
    """
    machine = hold(machine)
    if found := already_done(Spec, by):
        return found
    older = list(Spec.objects.for_org(by.member.organization_id).filter(machine=machine).order_by("created_at", "id"))
    if len(older) != version:
        refuse_stale(by, older[-1])
    spec = add(replace(by, why=why), Spec(id=by.key, machine=machine, why=why, **numbers))
    refresh_status(machine=machine)
    return spec


@transaction.atomic
def move_machine(*, by: Author, machine: Machine, version: int, bay: UUID | None, why: str) -> Standing:
    """Put a machine on a free bay, or off the floor. Refuses its own place, a taken bay and a stale edit."""
    machine = hold(machine)
    if found := already_done(Standing, by):
        return found
    if bay == machine.bay_id:
        raise ActionRefused("It stands there already. Choose where it goes.", field="bay")
    place = _free_bay(by, bay)
    change(replace(by, why=why), machine, version=version, bay=place)
    standing = add(replace(by, why=why), Standing(id=by.key, machine=machine, bay=place, why=why))
    refresh_status(machine=machine)
    return standing


def _first_spec(by: Author, machine: Machine, pitch_deg: float | None) -> Spec:
    era = presets.ERAS[machine.era]
    why = f"Common practice for its era ({era.words.lower()}). The maker’s manual wins."
    return Spec(
        id=uuid5(by.key, "spec"),
        machine=machine,
        pitch_deg=era.pitch_deg if pitch_deg is None else pitch_deg,
        pitch_tolerance_deg=presets.PITCH_TOLERANCE_DEG,
        roll_tolerance_deg=presets.ROLL_TOLERANCE_DEG,
        gap_tolerance_mm=presets.GAP_TOLERANCE_MM,
        why=why if pitch_deg is None else "Wanted when the machine was added.",
    )


def _free_bay(by: Author, bay: UUID | None) -> Bay | None:
    """Return the bay, locked until the end of the transaction so that two machines never get the same one."""
    if bay is None:
        return None
    rows = visible(by.member, Bay).filter(pk=bay, archived_at__isnull=True)
    place = rows.select_for_update(of=("self",), no_key=True).select_related("floor__site").first()
    if place is None:
        raise ActionRefused("That bay is not there any more. Choose another.", field="bay")
    other = Machine.objects.for_org(by.member.organization_id).live().filter(bay=place).first()
    if other is not None:
        raise ActionRefused(f"{other.title} stands on {place.name}. Move it first, or choose another.", field="bay")
    return place


def _refuse_same_code(by: Author, code: str, but: Machine | None = None) -> None:
    others = Machine.objects.for_org(by.member.organization_id).filter(code=code)
    if but is not None:
        others = others.exclude(pk=but.pk)
    if other := others.first():
        raise ActionRefused(f"{other.title} has this code. Choose another.", field="code")
