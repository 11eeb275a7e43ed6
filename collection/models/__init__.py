"""All tables, one noun a file."""

from collection.models.floors import Bay, Floor, FloorReading, FloorSlope
from collection.models.instruments import Instrument, InstrumentEvent, ZeroCheck
from collection.models.invitations import Invitation
from collection.models.machines import Leg, Machine, MachineStatus, Spec, Standing
from collection.models.people import Change, Membership, Organization, User
from collection.models.plans import Adjustment, Plan, PlanLeg
from collection.models.quick_checks import QuickCheck
from collection.models.reports import Report, ReportLink
from collection.models.sites import Site
from collection.models.surveys import Reading, Survey
from collection.models.vials import VialPair

__all__ = [
    "Adjustment",
    "Bay",
    "Change",
    "Floor",
    "FloorReading",
    "FloorSlope",
    "Instrument",
    "InstrumentEvent",
    "Invitation",
    "Leg",
    "Machine",
    "MachineStatus",
    "Membership",
    "Organization",
    "Plan",
    "PlanLeg",
    "QuickCheck",
    "Reading",
    "Report",
    "ReportLink",
    "Site",
    "Spec",
    "Standing",
    "Survey",
    "User",
    "VialPair",
    "ZeroCheck",
]
