"""Small worlds with a name. The cast: Alice owns a route, Bob is her technician, Vera reads one site of hers,
Charlie owns another business and must see nothing, Dana is signed in and belongs nowhere."""

import datetime
import uuid
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from collection import models
from collection.actions.instruments import Shown
from collection.actions.invitations import send_invitation
from collection.actions.plans import make_plan
from collection.actions.quick_checks import record_quick_check
from collection.actions.reports import make_label, report_problem
from tests import factories as make
from tests.factories import NOON
from tests.surveying import across, along, author, pair_of, survey_of


@dataclass(frozen=True)
class Cast:
    """Five people and their memberships."""

    alice: models.Membership
    bob: models.Membership
    vera: models.Membership
    charlie: models.Membership
    dana: models.User


def cast() -> Cast:
    """Alice, Bob and Vera in Saltmarsh Route; Charlie in Dune Amusements; Dana in none."""
    alice = make.MembershipFactory(user__email="alice@example.org")
    bob = make.MembershipFactory(user__email="bob@example.org", organization=alice.organization, role="technician")
    vera = make.MembershipFactory(user__email="vera@example.org", organization=alice.organization, role="viewer")
    charlie = make.MembershipFactory(user__email="charlie@example.org", organization__name="Dune Amusements")
    return Cast(alice, bob, vera, charlie, make.UserFactory(email="dana@example.org"))


@dataclass(frozen=True)
class TernTaproom:
    """Alice's site with one floor, one bay, one machine and one level; Vera may read the site.

    back wall
    +-----------------+
    |      [RL RR]    |   bay 1, machine's rear toward the back wall
    |      [FL FR]    |
    +-----------------+
    """

    people: Cast
    site: models.Site
    floor: models.Floor
    bay: models.Bay
    machine: models.Machine
    instrument: models.Instrument

    @property
    def organization(self) -> models.Organization:
        """Alice's."""
        return self.people.alice.organization

    @cached_property
    def survey(self) -> models.Survey:
        """Bob's survey: half a degree too flat, left high. Made when first asked for."""
        readings = [along(6.0, spot="middle"), across(0.3, "left", spot="lower_centre")]
        return survey_of(self.machine, by=self.people.bob, instrument=self.instrument, readings=readings)

    @cached_property
    def plan(self) -> models.Plan:
        """Bob's open leg plan from that survey. Made when first asked for."""
        at = self.survey.measured_at + datetime.timedelta(minutes=5)
        return make_plan(by=author(self.people.bob, at), machine=self.machine, source="survey")

    def _address(self, name: str) -> str:
        """An e-mail address of somebody of this place, if it stands beside another like it."""
        return (
            f"{name}@example.org" if self.machine.code == "LR-1" else f"{name}.{self.machine.code}@example.org".lower()
        )

    @cached_property
    def colleague(self) -> models.Membership:
        """Wes, another technician of Alice's. Made when first asked for."""
        return make.MembershipFactory(
            user__email=self._address("wes"), organization=self.people.alice.organization, role="technician"
        )

    @cached_property
    def invitation(self) -> models.Invitation:
        """Alice's invitation of Wren, whose mail nobody got, to read the site. Made when first asked for."""
        return send_invitation(
            by=author(self.people.alice), email=self._address("wren"), role="viewer", sites=[self.site.pk],
            send=lambda invitation, token: None,
        )  # fmt: skip

    @cached_property
    def vial(self) -> models.Instrument:
        """The machine's own vial, with three pairs: half a degree a line, the wanted pitch (6.5) in the middle."""
        wanted = self.machine.specs.latest("created_at").pitch_deg
        made = make.InstrumentFactory(
            member=self.people.alice,
            name=f"Vial of {self.machine.title}"[:80],
            kind="vial",
            machine=self.machine,
            direction="along",
        )
        for lines in (-1.0, 0.0, 1.0):
            shown, at = wanted + lines / 2, NOON + datetime.timedelta(minutes=3 * lines)
            pair_of(made, self.instrument, by=self.people.bob, lines=lines, shown=shown, at=at)
        return made

    @cached_property
    def vial_pair(self) -> models.VialPair:
        """The newest pair of that vial."""
        return self.vial.pairs.latest("read_at", "id")

    @cached_property
    def pair(self) -> models.QuickCheck:
        """Bob's reading of the glass, in again after that survey: it lies 1.2 degrees flatter than the playfield."""
        return glass_read(self, 4.8, (0.2, "left"), pair_with=self.survey)

    @cached_property
    def paired_machine(self) -> models.Machine:
        """The machine, once the glass was read beside its survey."""
        return self.pair.machine

    @cached_property
    def quick_check(self) -> models.QuickCheck:
        """Bob's quick check a month after that pair."""
        assert self.pair
        return glass_read(self, 5.2, (0.1, "right"), at=self.pair.measured_at + datetime.timedelta(days=30))

    @cached_property
    def report_link(self) -> models.ReportLink:
        """The label on the machine, made by Alice."""
        return make_label(by=author(self.people.alice), machine=self.machine)

    @property
    def report_token(self) -> str:
        """The secret in the address on that label."""
        return self.report_link.token

    @cached_property
    def report(self) -> models.Report:
        """Somebody at the machine told an hour after noon, through that label, that the ball rolls left."""
        at = NOON + datetime.timedelta(hours=1)
        return report_problem(link=self.report_link, problem="rolls_left", key=uuid.uuid4(), at=at)


def glass_read(
    taproom: TernTaproom,
    along: float,
    across: tuple[float, str],
    *,
    at: datetime.datetime | None = None,
    **more: Any,
) -> models.QuickCheck:
    """Bob reads the glass of Lantern Reef, front to rear and left to right; ten minutes after its survey."""
    number, end = across
    at = at or taproom.survey.measured_at + datetime.timedelta(minutes=10)
    return record_quick_check(
        by=author(taproom.people.bob, at),
        pitch=Shown(f"{along:g}", along, "rear"), roll=Shown(f"{number:g}", number, end),
        **{"machine": taproom.machine, "instrument": taproom.instrument, "place": "glass", "unit": "deg", **more},
    )  # fmt: skip


def tern_taproom(
    people: Cast | None = None,
    *,
    site: str = "Tern Taproom",
    title: str = "Lantern Reef",
    code: str = "LR-1",
    level: str = "230 mm digital level",
) -> TernTaproom:
    """Build the world drawn above; with people and names of their own, another like it beside it."""
    people = people or cast()
    place = make.SiteFactory(member=people.alice, name=site)
    people.vera.sites.add(place)
    floor = make.FloorFactory(member=people.alice, site=place)
    bay = make.BayFactory(member=people.alice, floor=floor, name="Bay 1")
    machine = make.MachineFactory(member=people.alice, bay=bay, title=title, code=code)
    instrument = make.InstrumentFactory(member=people.alice, name=level)
    return TernTaproom(people, place, floor, bay, machine, instrument)


def two_lifts(taproom: TernTaproom) -> TernTaproom:
    """Give Lantern Reef a leg plan of two lifts: its rear levelers are nearly out, so the front must go in."""
    taproom.machine.legs.filter(place__gte=2).update(exposure_mm=33)
    assert len(taproom.plan.answer["lifts"]) == 2
    return taproom
