"""The status row of a machine: what lists show, remade from the record by every action that changes it."""

from django.db import transaction
from django.db.models import Exists, OuterRef

from collection.models import Machine, MachineStatus, Plan, Spec, Survey


@transaction.atomic
def refresh_status(*, machine: Machine) -> None:
    """Remake the status of a machine from its newest survey that stands, its spec and its open plan."""
    corrections = Survey.objects.for_org(machine.organization_id).filter(supersedes=OuterRef("pk"))
    surveys = Survey.objects.for_org(machine.organization_id).filter(~Exists(corrections), machine=machine)
    survey = surveys.order_by("-measured_at", "-created_at").first()
    spec = Spec.objects.for_org(machine.organization_id).filter(machine=machine).latest("created_at")
    plans = Plan.objects.for_org(machine.organization_id).filter(machine=machine, state__in=("open", "turned"))
    MachineStatus.objects.for_org(machine.organization_id).filter(machine=machine).update(
        survey=survey,
        spec=spec,
        plan=plans.order_by("-created_at").first(),
        verdict=survey.verdict if survey else "never",
        chance=survey.chance if survey else None,
        moved_since_survey=survey is not None and survey.bay_id != machine.bay_id,
        next_step="" if survey else "Survey it",
    )
