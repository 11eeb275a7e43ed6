"""People on their phones: an owner invites, somebody new joins by the mail's link; what each may do; out at once."""

import re
from collections.abc import Iterator

import pytest
from django.core import mail
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests import factories as make
from tests.factories import NOON
from tests.journeys.conftest import PATIENCE_MS, PHONE, findings, sign_in
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PASSWORD = "salt on the sill"


@pytest.fixture
def other(browser: Browser) -> Iterator[Page]:
    """Yield somebody else's phone."""
    context = browser.new_context(viewport=PHONE, reduced_motion="reduce")  # type: ignore[arg-type]
    context.set_default_timeout(PATIENCE_MS)
    yield context.new_page()
    context.close()


def press(page: Page, name: str) -> None:
    page.get_by_role("main").get_by_role("button", name=name, exact=True).click()


def follow(page: Page, name: str) -> None:
    page.get_by_role("main").get_by_role("link", name=name).click()


def invite(page: Page, base: str, email: str, role: str, *sites: str) -> str:
    """Let whoever is signed in invite somebody; return the link of the mail."""
    page.goto(f"{base}/organization/")
    follow(page, "Invite someone")
    page.get_by_label("E-mail").fill(email)
    page.get_by_label(role, exact=True).check()
    for site in sites:
        page.get_by_label(site).check()
    assert findings(page) == []
    press(page, "Send the invitation")
    expect(page.get_by_role("status")).to_contain_text(f"on its way to {email}")
    found = re.search(r"http://\S+/open/", str(mail.outbox[-1].body))
    assert found
    return found[0]


def join(page: Page, link: str) -> None:
    """Open the link as somebody without an account, make one, and be in."""
    page.goto(link)
    page.wait_for_url("**/invitations/accept/")
    assert findings(page) == []
    follow(page, "Make an account")
    expect(page.get_by_label("E-mail")).not_to_be_editable()
    page.get_by_label("Password").fill(PASSWORD)
    assert findings(page) == []
    press(page, "Make it and join")
    page.wait_for_url("**/today/")


def test_somebody_new_joins_as_a_technician(
    phone: Page, other: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    sign_in(phone, live_server.url, "alice@example.org")
    join(other, invite(phone, live_server.url, "wren@example.org", "Technician"))
    expect(other.get_by_role("status")).to_contain_text("You work in Saltmarsh Route now, as technician.")
    expect(other.get_by_role("link", name="Lantern Reef")).to_be_visible()
    other.goto(f"{live_server.url}/machines/{world.machine.pk}/")
    expect(other.get_by_role("link", name="Edit").or_(other.get_by_role("link", name="Change")).first).to_be_visible()
    phone.goto(f"{live_server.url}/organization/")
    expect(phone.get_by_role("main")).to_contain_text("wren@example.org technician since")
    expect(phone.get_by_role("main")).not_to_contain_text("Invited, not here yet")


#: Where something is written.
WRITING = re.compile(r"/(new|edit|legs|spec|move|slope|correct|zero|event|sign-off|turned|send|withdraw|end)/")


def ways_to_write(page: Page) -> list[str]:
    """Return the links and forms of a page that lead to a write."""
    main = page.get_by_role("main")
    links = main.locator("a").evaluate_all("links => links.map((link) => new URL(link.href).pathname)")
    forms = main.locator("form[method=post]").evaluate_all("forms => forms.map((form) => form.action)")
    return [path for path in links if WRITING.search(path)] + forms


def test_a_site_viewer_sees_the_named_site_alone_and_nothing_to_change(
    phone: Page, other: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    ferry = make.SiteFactory(member=world.people.alice, name="Ferry Hall")
    make.MachineFactory(member=world.people.alice, title="Tin Kettle", bay__floor__site=ferry)
    sign_in(phone, live_server.url, "alice@example.org")
    join(other, invite(phone, live_server.url, "wren@example.org", "Site viewer", "Tern Taproom"))
    expect(other.get_by_role("link", name="Lantern Reef")).to_be_visible()
    for path in ("today", "sites", "machines", f"sites/{world.site.pk}", f"machines/{world.machine.pk}"):
        for page in (phone, other):
            page.goto(f"{live_server.url}/{path}/")
        expect(other.get_by_role("main")).not_to_contain_text(re.compile("Ferry Hall|Tin Kettle"))
        assert ways_to_write(other) == [], path
        assert ways_to_write(phone) or path in ("today", "sites"), f"the owner writes from {path}"
    other.goto(f"{live_server.url}/sites/{ferry.pk}/")
    expect(other.get_by_role("heading", name="There is no such page")).to_be_visible()


def test_a_removed_person_is_out_on_the_next_tap(
    phone: Page, other: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    sign_in(other, live_server.url, "bob@example.org")
    other.goto(f"{live_server.url}/sites/")
    sign_in(phone, live_server.url, "alice@example.org")
    phone.goto(f"{live_server.url}/organization/")
    follow(phone, "Change bob@example.org")
    follow(phone, "End the membership")
    phone.get_by_label("Why").fill("Moved to another town.")
    assert findings(phone) == []
    press(phone, "End it")
    expect(phone.get_by_role("status")).to_contain_text("bob@example.org does not belong to Saltmarsh Route any more.")
    other.get_by_role("main").get_by_role("link", name="Tern Taproom").click()
    expect(other.get_by_role("heading", name="Start an organization")).to_be_visible()
    expect(other.get_by_role("main")).not_to_contain_text("Tern Taproom")


def test_one_works_in_one_of_several_organizations_and_sees_in_which(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    later = {"created_at": NOON.replace(day=5), "organization__name": "Hollow Barn"}
    make.MembershipFactory(user=world.people.bob.user, role="viewer", **later)
    sign_in(phone, live_server.url, "bob@example.org")
    phone.get_by_role("banner").get_by_role("link", name="Switch to another organization").click()
    expect(phone.get_by_role("heading", name="Your organizations")).to_be_in_viewport()
    press(phone, "Open Hollow Barn")
    expect(phone.get_by_role("status")).to_contain_text("You work in Hollow Barn now, as site viewer.")
    expect(phone.get_by_role("banner")).to_contain_text("Hollow Barn")


def test_the_last_owner_hands_over_before_leaving(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    sign_in(phone, live_server.url, "alice@example.org")
    phone.goto(f"{live_server.url}/organization/leave/")
    press(phone, "Leave")
    expect(phone.get_by_role("alert")).to_contain_text("Make another member an owner first.")
    phone.goto(f"{live_server.url}/organization/")
    follow(phone, "Change bob@example.org")
    follow(phone, "Hand the organization over")
    phone.get_by_label("I become a technician").check()
    press(phone, "Hand it over")
    expect(phone.get_by_role("status")).to_contain_text("bob@example.org is an owner now, and you are a technician.")
    follow(phone, "leave Saltmarsh Route")
    press(phone, "Leave")
    expect(phone.get_by_role("status")).to_contain_text("You left Saltmarsh Route.")
    owners = models.Membership.objects.filter(organization=world.site.organization, role="owner", ended_at=None)
    assert [owner.user.email for owner in owners] == ["bob@example.org"]
