"""Makes rows for tests, with defaults that satisfy every constraint."""

import datetime
from typing import Any

import factory
from django.utils import timezone

from collection import models

NOON = datetime.datetime(2026, 5, 4, 12, 0, tzinfo=datetime.UTC)
PASSWORD = "a quiet tern over mud"


class UserFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = models.User
        skip_postgeneration_save = True

    email = factory.Sequence(lambda n: f"person{n}@example.org")
    password = factory.django.Password(PASSWORD)


class OrganizationFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = models.Organization

    name = "Saltmarsh Route"
    created_at = NOON


class MembershipFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = models.Membership
        skip_postgeneration_save = True

    organization = factory.SubFactory(OrganizationFactory)
    user = factory.SubFactory(UserFactory)
    role = "owner"
    created_at = NOON


class RowFactory(factory.django.DjangoModelFactory):
    """Rows of one organization; give `member` to say whose and by whom."""

    class Meta:
        abstract = True

    class Params:
        member = factory.SubFactory(MembershipFactory)

    organization = factory.SelfAttribute("member.organization")
    created_by = factory.SelfAttribute("member.user")
    created_at = factory.LazyFunction(timezone.now)


class SiteFactory(RowFactory):
    class Meta:
        model = models.Site

    name = factory.Sequence(lambda n: f"Tern Taproom {n}")
    address = "2 Mudflat Lane"


class FloorFactory(RowFactory):
    class Meta:
        model = models.Floor

    site = factory.SubFactory(SiteFactory, member=factory.SelfAttribute("..member"))
    name = "Main room"


class BayFactory(RowFactory):
    class Meta:
        model = models.Bay

    floor = factory.SubFactory(FloorFactory, member=factory.SelfAttribute("..member"))
    name = factory.Sequence(lambda n: f"Bay {100 + n}")  # below 100 are the worlds' own


class FloorSlopeFactory(RowFactory):
    class Meta:
        model = models.FloorSlope

    floor = factory.SubFactory(FloorFactory, member=factory.SelfAttribute("..member"))
    gx = 0.004
    gy = -0.006
    u_gx = 0.001
    u_gy = 0.001
    engine_version = "1"


class InstrumentFactory(RowFactory):
    class Meta:
        model = models.Instrument

    name = factory.Sequence(lambda n: f"230 mm digital level {n}")


class MachineFactory(RowFactory):
    """A standard body on a bay, with four legs, a spec and a status."""

    class Meta:
        model = models.Machine
        skip_postgeneration_save = True

    bay = factory.SubFactory(BayFactory, member=factory.SelfAttribute("..member"))
    code = factory.Sequence(lambda n: f"LR-{100 + n}")  # below 100 are the worlds' own
    title = factory.Sequence(lambda n: f"Lantern Reef {n}")
    track_front_mm = 560
    track_rear_mm = 560
    base_mm = 1300
    lead_mm = 1.5875
    u_pitch_offset_deg = 0.5
    u_roll_offset_deg = 0.2

    @factory.post_generation
    def parts(self: Any, create: bool, extracted: Any, **kwargs: Any) -> None:
        if not create:
            return
        stamp: dict[str, Any] = {
            "organization": self.organization,
            "created_by": self.created_by,
            "created_at": self.created_at,
        }
        for place in range(4):
            models.Leg.objects.create(
                machine=self, place=place, length_mm=724, travel_mm=41, exposure_mm=12 if place < 2 else 20, **stamp
            )
        spec = models.Spec.objects.create(
            machine=self,
            pitch_deg=6.5,
            pitch_tolerance_deg=0.2,
            roll_tolerance_deg=0.15,
            gap_tolerance_mm=0.5,
            why="Usual for its era",
            **stamp,
        )
        models.MachineStatus.objects.create(machine=self, organization=self.organization, spec=spec)
