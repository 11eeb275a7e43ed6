"""Keys in bodies and addresses: a row of another organization, or of a site one may not read, is as absent as none."""

import datetime
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from collection import models
from collection.actions.machines import move_machine
from collection.actions.plans import make_plan
from tests import factories as make
from tests.collection.forms.test_hostile_posts import fields_of
from tests.collection.views.test_sent_twice import LEVEL, MACHINE, SITE, SLOPE
from tests.factories import NOON
from tests.surveying import author, sent, survey_of
from tests.worlds import TernTaproom

ABSENT = "00000000-0000-4000-8000-000000000000"


def client_of(member: models.Membership) -> Client:
    client = Client()
    client.force_login(member.user)
    return client


@pytest.fixture
def bob(taproom: TernTaproom) -> Client:
    assert taproom.plan
    return client_of(taproom.people.bob)


@pytest.fixture
def theirs(taproom: TernTaproom) -> dict[str, Any]:
    """Charlie's machine on a bay of his, a free bay, a level, a survey and a plan."""
    charlie = taproom.people.charlie
    machine = make.MachineFactory(member=charlie, title="Marsh Weather", bay__name="Dune bay")
    level = make.InstrumentFactory(member=charlie, name="Dune level")
    survey = survey_of(machine, by=charlie, instrument=level)
    plan = make_plan(by=author(charlie), machine=machine, source="survey", **WORK)
    free = make.BayFactory(member=charlie, floor=machine.bay.floor, name="Dune free bay")
    return {"machine": machine, "instrument": level, "survey": survey, "plan": plan, "bay": free}


WORK: dict[str, Any] = {
    "front_reachable": True, "rear_reachable": True, "on_dollies": False, "steps_per_turn": 4, "even_if_in_spec": True
}  # fmt: skip


def survey_page(instrument: Any, **more: str) -> dict[str, str]:
    return sent(instrument, ("along", "6.5", "rear"), ("across", "0.1", "left"), **more)


def bodies(taproom: TernTaproom, noun: str, key: Any) -> list[tuple[str, dict[str, Any]]]:
    """Every page that takes the key of a row of this kind in its body."""
    machine, ours = taproom.machine.pk, taproom.instrument.pk
    return {
        "bay": [
            (reverse("machine_new"), {**MACHINE, "bay": key}),
            (reverse("machine_move", args=[machine]), {"bay": key, "version": "1"}),
        ],
        "instrument": [
            (reverse("survey_new", args=[machine]), survey_page(key)),
            (reverse("survey_correct", args=[taproom.survey.pk]), survey_page(key, why="Wrong level.")),
            (reverse("floor_slope", args=[taproom.floor.pk]), {**SLOPE, "instrument": key}),
            (reverse("bay_slope", args=[taproom.bay.pk]), {**SLOPE, "instrument": key}),
        ],
        "plan": [(reverse("survey_new", args=[machine]), survey_page(ours, plan=str(key)))],
    }[noun]


def stored(organization: models.Organization) -> tuple[int, ...]:
    tables: Any = (models.Machine, models.Survey, models.FloorSlope, models.Standing, models.Plan, models.Change)
    return tuple(table.objects.for_org(organization).count() for table in tables)


def plain(html: str, key: Any) -> str:
    """A page without what differs each time: the key that was sent, and the tokens."""
    kept = [line for line in html.replace(str(key), "KEY").splitlines() if "csrfmiddlewaretoken" not in line]
    return "\n".join(line for line in kept if "write_key" not in line)


@pytest.mark.parametrize("noun", ["bay", "instrument", "plan"])
def test_their_key_in_a_body_looks_absent(taproom: TernTaproom, bob: Client, theirs: dict[str, Any], noun: str) -> None:
    before = stored(taproom.people.bob.organization), stored(taproom.people.charlie.organization)
    found = bodies(taproom, noun, theirs[noun].pk)
    for (url, body), (_, absent) in zip(found, bodies(taproom, noun, ABSENT), strict=True):
        one, other = bob.post(url, body), bob.post(url, absent)
        assert (one.status_code, other.status_code) == (422, 422), url
        assert plain(one.content.decode(), theirs[noun].pk) == plain(other.content.decode(), ABSENT), url
        assert "Dune" not in one.content.decode()
    assert (stored(taproom.people.bob.organization), stored(taproom.people.charlie.organization)) == before


def test_a_plan_of_another_machine_of_ours_is_refused(taproom: TernTaproom, bob: Client) -> None:
    other = make.MachineFactory(member=taproom.people.alice, bay__floor=taproom.floor)
    survey_of(other, by=taproom.people.bob, instrument=taproom.instrument)
    plan = make_plan(by=author(taproom.people.bob), machine=other, source="survey", **WORK)
    url = reverse("survey_new", args=[taproom.machine.pk])
    assert bob.post(url, survey_page(taproom.instrument.pk, plan=str(plan.pk))).status_code == 422


def test_their_keys_in_an_address_show_nothing(taproom: TernTaproom, bob: Client, theirs: dict[str, Any]) -> None:
    site = theirs["machine"].bay.floor.site
    for key in (site.pk, ABSENT):
        answer = bob.get(reverse("machines"), {"site": str(key)})
        assert (answer.status_code, len(answer.context["machines"]["rows"])) == (200, 0)
    assert bob.get(reverse("machine_new"), {"bay": str(theirs["bay"].pk)}).status_code == 404
    for key in (theirs["plan"].pk, ABSENT):
        answer = bob.get(reverse("survey_new", args=[taproom.machine.pk]), {"plan": str(key)})
        assert (answer.status_code, answer.context["form"].initial["plan"]) == (200, "")


@pytest.fixture
def beyond(taproom: TernTaproom) -> dict[str, Any]:
    """What Vera may not read: a machine in another site, one off the floor, each surveyed and planned."""
    alice = taproom.people.alice
    site = make.SiteFactory(member=alice, name="Ferry Hall")
    bay = make.BayFactory(member=alice, floor__site=site, name="Ferry bay")
    away = make.MachineFactory(member=alice, bay=bay, title="Ferry Kettle", code="FK-1")
    stored_away = make.MachineFactory(member=alice, bay=None, title="Ferry Shelf", code="FS-1")
    found: dict[str, Any] = {"site": site, "bay": bay, "floor": bay.floor, "machines": [away, stored_away]}
    found["surveys"] = [survey_of(each, by=alice, instrument=taproom.instrument) for each in found["machines"]]
    found["plans"] = [make_plan(by=author(alice), machine=m, source="survey", **WORK) for m in found["machines"]]
    return found


def test_a_site_viewer_reads_one_site_only(taproom: TernTaproom, beyond: dict[str, Any]) -> None:
    vera = client_of(taproom.people.vera)
    for name in ("today", "machines", "sites", "instruments"):
        for query in ({}, {"q": "Ferry"}, {"q": "FK-1"}, {"q": "Kettle"}, {"site": str(beyond["site"].pk)}):
            page = vera.get(reverse(name), query).content.decode()
            assert "Ferry" not in page.replace('value="Ferry"', "").replace("“Ferry”", "").replace("q=Ferry", ""), name
    counts = vera.get(reverse("today")).context["machines"]["counts"]
    assert sum(counts.values()) == 1
    absent = [("site", beyond["site"]), ("floor", beyond["floor"]), ("bay", beyond["bay"])]
    absent += [("machine", each) for each in beyond["machines"]]
    absent += [("survey", each) for each in beyond["surveys"]] + [("plan", each) for each in beyond["plans"]]
    for name, row in absent:
        assert vera.get(reverse(name, args=[row.pk])).status_code == 404, (name, row)
    assert vera.get(reverse("instrument", args=[taproom.instrument.pk])).status_code == 404


def test_a_machine_that_came_from_elsewhere_does_not_name_the_other_site(
    taproom: TernTaproom, beyond: dict[str, Any]
) -> None:
    """Vera sees that it stood elsewhere, not where: the other address is not hers to know."""
    came, bay = beyond["machines"][0], make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
    for hours, place in ((1, beyond["bay"].pk), (2, bay.pk)):
        models.Machine.objects.filter(pk=came.pk).update(bay=None)
        came.refresh_from_db()
        at = NOON + datetime.timedelta(hours=hours)
        move_machine(by=author(taproom.people.bob, at), machine=came, version=came.version, bay=place, why="")
    seen = client_of(taproom.people.vera).get(reverse("machine", args=[came.pk])).content.decode()
    assert "Ferry Hall" not in seen
    assert "Ferry bay" not in seen
    assert "Elsewhere" in seen
    assert "Ferry Hall" in client_of(taproom.people.bob).get(reverse("machine", args=[came.pk])).content.decode()


def test_a_site_viewer_sees_whom_to_ask_but_not_the_other_viewers(taproom: TernTaproom) -> None:
    make.MembershipFactory(
        user__email="walt@example.org", organization=taproom.people.alice.organization, role="viewer"
    )
    # An address may break before its @, which a page says by a mark.
    vera, alice = (
        client_of(member).get(reverse("organization")).content.decode().replace("<wbr>", "")
        for member in (taproom.people.vera, taproom.people.alice)
    )
    assert "alice@example.org" in vera
    assert "vera@example.org" in vera
    assert "walt@example.org" not in vera
    assert "walt@example.org" in alice


def test_a_removed_member_is_out_on_the_next_request(taproom: TernTaproom, bob: Client) -> None:
    url = reverse("machine", args=[taproom.machine.pk])
    assert bob.get(url).status_code == 200
    models.Membership.objects.filter(pk=taproom.people.bob.pk).update(ended_at=NOON)
    assert (bob.get(url).status_code, bob.get(url).url) == (302, reverse("organization_new"))
    assert bob.post(reverse("site_new"), SITE).status_code == 302
    assert not models.Site.objects.filter(name="Ferry Hall").exists()
    chosen = bob.post(reverse("organization_choose"), {"organization": str(taproom.site.organization_id)})
    assert chosen.status_code == 404


def test_a_member_of_two_reaches_only_the_one_they_act_in(taproom: TernTaproom, theirs: dict[str, Any]) -> None:
    dune = taproom.people.charlie.organization
    make.MembershipFactory(user=taproom.people.bob.user, organization=dune, created_at=NOON + datetime.timedelta(1))
    bob = client_of(taproom.people.bob)
    assert bob.get(reverse("machine", args=[theirs["machine"].pk])).status_code == 404
    assert bob.post(*bodies(taproom, "instrument", theirs["instrument"].pk)[0]).status_code == 422
    assert bob.post(reverse("organization_choose"), {"organization": str(dune.pk)}).status_code == 302
    assert bob.get(reverse("machine", args=[theirs["machine"].pk])).status_code == 200
    assert bob.get(reverse("machine", args=[taproom.machine.pk])).status_code == 404
    url, page = reverse("survey_new", args=[theirs["machine"].pk]), survey_page(taproom.instrument.pk)
    assert bob.post(url, page).status_code == 422


@pytest.mark.parametrize(("name", "page"), [("site_new", SITE), ("instrument_new", LEVEL), ("machine_new", MACHINE)])
def test_a_page_opened_in_one_organization_is_not_saved_in_another(
    taproom: TernTaproom, name: str, page: dict[str, str]
) -> None:
    """Opened in one tab; in another tab the same person changes to their other organization."""
    dune = taproom.people.charlie.organization
    make.MembershipFactory(user=taproom.people.bob.user, organization=dune, created_at=NOON + datetime.timedelta(1))
    bob = client_of(taproom.people.bob)
    opened = fields_of(bob.get(reverse(name)).content.decode()).sent
    bob.post(reverse("organization_choose"), {"organization": str(dune.pk)})
    before = stored(dune)
    answer = bob.post(reverse(name), opened | page)
    assert answer.status_code == 422
    assert "opened for another organization" in answer.content.decode()
    assert stored(dune) == before


def test_a_key_of_nobody_is_as_good_as_new(taproom: TernTaproom, bob: Client) -> None:
    assert bob.post(reverse("site_new"), {**SITE, "write_key": str(uuid.uuid4())}).status_code == 302
