"""Bob and Alice change one site at the same time: the second chooses field by field, and nothing is lost."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests.journeys.conftest import PATIENCE_MS, PHONE, findings, sign_in
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture(params=[True, False], ids=["with script", "without script"])
def runs_scripts(request: pytest.FixtureRequest) -> bool:
    """Return whether Bob's phone runs scripts."""
    return bool(request.param)


@pytest.fixture
def bobs(browser: Browser, runs_scripts: bool) -> Iterator[Page]:
    """Yield the page of Bob's own phone."""
    context = browser.new_context(viewport=PHONE, java_script_enabled=runs_scripts)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    yield page
    context.close()


def test_a_stale_edit_and_its_merge(
    phone: Page, bobs: Page, live_server: LiveServer, world: TernTaproom, runs_scripts: bool
) -> None:
    edit = f"{live_server.url}/sites/{world.site.pk}/edit/"
    for page, email in ((phone, "alice@example.org"), (bobs, "bob@example.org")):
        sign_in(page, live_server.url, email)
        page.goto(edit)
    phone.get_by_label("Name").fill("Tern Cellar")
    phone.get_by_label("Address").fill("4 Mudflat Lane")
    phone.get_by_label("Notes").fill("Ring twice.")
    phone.get_by_role("button", name="Save site").click()
    phone.wait_for_url(f"**/sites/{world.site.pk}/")

    bobs.get_by_label("Address").fill("6 Mudflat Lane")
    bobs.get_by_label("Time zone").select_option("Europe/Oslo")
    bobs.get_by_role("button", name="Save site").click()
    expect(bobs.get_by_role("alert")).to_contain_text("Nothing is saved yet")
    expect(bobs.get_by_role("alert")).to_contain_text("It says “4 Mudflat Lane” now.")
    must_ask(bobs)
    assert not runs_scripts or findings(bobs) == []  # axe is a script
    assert models.Site.objects.get(pk=world.site.pk).address == "4 Mudflat Lane"

    # The name of Alice stays as it is chosen for him, the address becomes his, by keyboard.
    address = bobs.get_by_role("group", name="Address")
    address.get_by_label("Now").check()
    address.get_by_label("Now").press("ArrowLeft")
    expect(address.get_by_label("Yours")).to_be_checked()
    bobs.get_by_role("button", name="Save site").click()
    bobs.wait_for_url(f"**/sites/{world.site.pk}/")
    the_record_holds_both(world)


def must_ask(page: Page) -> None:
    """Two of them changed name, address and notes; the zone is Bob's alone and stays his unasked."""
    groups = {"Name": "Now", "Address": "Yours", "Notes": "Now"}
    expect(page.locator(".clash")).to_have_count(len(groups))
    for name, chosen in groups.items():
        group = page.get_by_role("group", name=name)
        expect(group.get_by_label(chosen)).to_be_checked()
        expect(group).to_contain_text("alice@example.org, just now")
        for side in ("Yours", "Now"):
            box = group.locator(".clash-side").filter(has_text=side).bounding_box()
            assert box is not None
            assert box["height"] >= 44
    expect(page.get_by_label("Time zone")).to_have_value("Europe/Oslo")
    assert page.evaluate("() => document.documentElement.scrollWidth") <= PHONE["width"]


def the_record_holds_both(world: TernTaproom) -> None:
    """Site and history: what each of them changed, once."""
    site = models.Site.objects.get(pk=world.site.pk)
    assert (site.name, site.address, site.notes, site.time_zone) == (
        "Tern Cellar", "6 Mudflat Lane", "Ring twice.", "Europe/Oslo",
    )  # fmt: skip
    lines = models.Change.objects.filter(row_id=site.pk, verb="changed").order_by("created_at")
    assert [(line.created_by.email, sorted(line.new)) for line in lines] == [
        ("alice@example.org", ["address", "name", "notes"]),
        ("bob@example.org", ["address", "time_zone"]),
    ]
    assert lines[1].old["address"] == "4 Mudflat Lane"
