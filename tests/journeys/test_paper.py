"""Sheets as a browser prints them: how many pages, what stands on each, and where the QR code leads."""

import io
import re
from typing import Any

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Page
from pypdf import PdfReader
from pytest_django.live_server_helper import LiveServer

from collection import models
from collection.actions.plans import make_plan
from tests.crowd import crowd
from tests.journeys.conftest import serious_findings, sign_in
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom, tern_taproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: ISO 216 and ANSI/ASME Y14.1, in points of 1/72 inch.
SIZES = {"A4": (595, 842), "Letter": (612, 792)}
#: Most letters that our fields take, with and without a place to break.
LONG = "The exceedingly long and winding name of a machine that stands by the harbour wall"[:80]
SOLID = "W" * 80


@pytest.fixture
def world() -> TernTaproom:
    """The taproom, and Bob's plan: two lifts, all four legs."""
    taproom = tern_taproom()
    taproom.machine.legs.filter(place__gte=2).update(exposure_mm=33)
    taproom.machine.legs.filter(place__lt=2).update(exposure_mm=8)
    readings = [along(5.8), across(0.9, "left")]
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=readings)
    return taproom


@pytest.fixture
def plan(world: TernTaproom) -> models.Plan:
    """The longest plan there is: nothing fits, two lifts, four legs."""
    plan = make_plan(by=author(world.people.bob), machine=world.machine, source="survey")
    assert [len(lift["legs"]) for lift in plan.answer["lifts"]] == [2, 2]
    return plan


def lengthen(plan: models.Plan) -> None:
    """Give a plan the longest names, and everything that a sheet may have to say at once."""
    plan.inputs["exposures_mm"] = [None] * 4
    plan.inputs["survey"]["stance"] = "unknown"
    plan.answer["pads_mm"] = [7.1, 8.2, 9.3, 10.4]
    plan.answer["states"][-1] |= {"gap_mm": 9.9, "foot": "FR"}
    plan.state, plan.remark = "set_aside", (LONG * 5)[:400]
    plan.save()
    models.Organization.objects.update(angle_unit="mm_per_m", length_unit="in")
    models.Machine.objects.update(title=SOLID, code="W" * 20)
    models.Instrument.objects.update(name=LONG)
    models.Site.objects.update(name=LONG, address=(LONG * 3)[:200])
    models.Floor.objects.update(name=LONG)
    models.Bay.objects.update(name=LONG)


def printed(page: Page, url: str, paper: str) -> list[str]:
    """The text of each page of paper, with plain spaces; every page has the size asked for."""
    page.goto(url)
    pages = PdfReader(io.BytesIO(page.pdf(format=paper))).pages
    for sheet in pages:
        assert (float(sheet.mediabox.width), float(sheet.mediabox.height)) == pytest.approx(SIZES[paper], abs=1.5)
    return [re.sub(r"\s+", " ", sheet.extract_text()) for sheet in pages]


@pytest.mark.parametrize("paper", SIZES)
def test_a_plan_is_one_page(paper: str, page: Page, live_server: LiveServer, plan: models.Plan) -> None:
    sign_in(page, live_server.url, "bob@example.org")
    (text,) = printed(page, f"{live_server.url}/plans/{plan.pk}/sheet/", paper)
    for part in (
        "Lantern Reef: leg plan",
        "Lift 1 of 2",
        "Lift 2 of 2",
        "Locknuts tight",
        "Turned by",
        "maker’s manual",
    ):
        assert part in text
    assert f"{live_server.url}/plans/{plan.pk}/" in text.replace(" ", "")
    for button in ("Print", "Back to the plan", "Today", "Colours"):
        assert button not in text


@pytest.mark.parametrize("paper", SIZES)
def test_the_longest_plan_is_one_page_too(paper: str, page: Page, live_server: LiveServer, plan: models.Plan) -> None:
    lengthen(plan)
    sign_in(page, live_server.url, "bob@example.org")
    (text,) = printed(page, f"{live_server.url}/plans/{plan.pk}/sheet/", paper)
    for part in ("This plan was set aside", "Travel is not checked", "Nobody checked the feet"):
        assert part in text
    assert "maker’s manual" in text


def test_a_sheet_that_is_too_long_would_be_found(page: Page, live_server: LiveServer, plan: models.Plan) -> None:
    """The count of pages can fail: a third of a page more is a second page."""
    sign_in(page, live_server.url, "bob@example.org")
    page.goto(f"{live_server.url}/plans/{plan.pk}/sheet/")
    page.evaluate(
        """() => {
            const more = document.querySelector(".paper-lift");
            for (let n = 0; n < 3; n += 1) more.after(more.cloneNode(true));
        }"""
    )
    assert len(PdfReader(io.BytesIO(page.pdf(format="Letter"))).pages) == 2


@pytest.mark.parametrize("paper", SIZES)
def test_twenty_machines_are_at_most_two_pages(
    paper: str, page: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """Each row whole on one page, the header on each, and nothing beyond the paper's width."""
    crowd(world, 19)
    sign_in(page, live_server.url, "bob@example.org")
    texts = printed(page, f"{live_server.url}/sites/{world.site.pk}/sheet/", paper)
    assert 1 <= len(texts) <= 2
    rows = [f"C-{number}" for number in range(1, 20)]
    assert all(sum(f" {row} " in f"{text} " for text in texts) == 1 for row in rows)
    for text in texts:
        assert "Machine Now Next step Done Notes" in text
        assert text.count("pitch ") == text.count("roll ") == text.count("all feet bear") > 0
    assert sum(text.count("pitch ") for text in texts) == 20
    assert "maker’s manual" in texts[-1]


@pytest.mark.parametrize("paper", SIZES)
def test_the_longest_names_stay_on_the_paper(
    paper: str, page: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """No ink beyond the margin of 11 mm: the browser would shrink or cut what is wider than the page."""
    crowd(world, 3)
    models.Machine.objects.update(title=SOLID)
    for number, bay in enumerate(models.Bay.objects.all()):
        models.Bay.objects.filter(pk=bay.pk).update(name=f"{SOLID[2:]}{number}")
    longest = "2 lifts · rear: RL out 12 ⅞, RR out 14 ¾ · front: FL in 11 ⅝, FR in 10 ½"
    models.MachineStatus.objects.update(next_step=longest)
    sign_in(page, live_server.url, "bob@example.org")
    width = SIZES[paper][0]
    right = []
    page.goto(f"{live_server.url}/sites/{world.site.pk}/sheet/")
    for sheet in PdfReader(io.BytesIO(page.pdf(format=paper))).pages:
        sheet.extract_text(visitor_text=lambda text, cm, tm, *_: right.append(_x(cm, tm)) if text.strip() else None)
    assert 0 < max(right) < width - 11 / 25.4 * 72
    page.emulate_media(media="print")
    page.set_viewport_size({"width": round(width / 72 * 96 - 22 / 25.4 * 96), "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def _x(cm: Any, tm: Any) -> float:
    """Where a text begins, in points from the left edge."""
    return float(tm[4] * cm[0] + tm[5] * cm[2] + cm[4])


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("which", ["plan", "site"])
def test_the_code_leads_back(
    which: str, scheme: Any, page: Page, live_server: LiveServer, world: TernTaproom, plan: models.Plan
) -> None:
    """A camera reads the address that the browser is at, on the screen of a phone in the dark too."""
    page.emulate_media(color_scheme=scheme)
    sign_in(page, live_server.url, "bob@example.org")
    address = f"{live_server.url}/plans/{plan.pk}/" if which == "plan" else f"{live_server.url}/sites/{world.site.pk}/"
    page.goto(f"{address}sheet/")
    picture = Image.open(io.BytesIO(page.locator("svg.code").screenshot()))
    assert [code.text for code in zxingcpp.read_barcodes(picture)] == [address]


def test_the_code_on_paper_leads_back(page: Page, live_server: LiveServer, plan: models.Plan) -> None:
    sign_in(page, live_server.url, "bob@example.org")
    page.goto(f"{live_server.url}/plans/{plan.pk}/sheet/")
    page.emulate_media(media="print")
    picture = Image.open(io.BytesIO(page.screenshot(full_page=True)))
    assert [code.text for code in zxingcpp.read_barcodes(picture)] == [f"{live_server.url}/plans/{plan.pk}/"]


def test_the_previews_have_no_finding_and_a_way_to_print(
    phone: Page, complaints: list[str], live_server: LiveServer, world: TernTaproom, plan: models.Plan
) -> None:
    sign_in(phone, live_server.url, "bob@example.org")
    for address in (f"/plans/{plan.pk}/sheet/", f"/sites/{world.site.pk}/sheet/"):
        phone.goto(live_server.url + address)
        phone.evaluate("() => { window.print = () => { document.body.dataset.printed = 'yes' } }")
        phone.get_by_role("button", name="Print").click()
        assert phone.evaluate("() => document.body.dataset.printed") == "yes"
        assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert complaints == []
        assert serious_findings(phone) == []
        complaints.clear()  # axe itself bends the policy
