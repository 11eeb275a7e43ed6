"""Lists of machines on Today, on Machines and on a site: each count narrows, and each way keeps the others."""

import gzip
import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from collection.models import Machine, MachineStatus, Membership, Site
from tests import factories as make
from tests.crowd import crowd
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
TODAY, MACHINES, SITES = reverse("today"), reverse("machines"), reverse("sites")


@pytest.fixture
def second(taproom: TernTaproom) -> Machine:
    """Tin Kettle in Ferry Hall, out of spec; Lantern Reef in Tern Taproom was never surveyed."""
    bay = make.BayFactory(member=taproom.people.alice, name="Bay 7", floor__site__name="Ferry Hall")
    return standing(taproom, bay=bay, title="Tin Kettle", code="TK-9", verdict="out", next_step="Make a leg plan")


def standing(taproom: TernTaproom, *, verdict: str, next_step: str = "", **given: object) -> Machine:
    machine: Machine = make.MachineFactory(member=taproom.people.alice, **given)
    MachineStatus.objects.filter(machine=machine).update(verdict=verdict, next_step=next_step)
    return machine


def shown(client: Client, url: str, **query: str) -> list[str]:
    answer = client.get(url, query)
    assert answer.status_code == 200
    return [row.machine.title for row in answer.context["machines"]["rows"]]


def tally(client: Client, url: str, **query: str) -> dict[str, tuple[int, str]]:
    tiles = client.get(url, query).context["machines"]["tally"]
    return {tile["verdict"]: (tile["count"], tile["url"]) for tile in tiles}


@pytest.mark.parametrize("url", [TODAY, MACHINES])
def test_each_count_is_a_link_that_narrows_and_widens_again(
    taproom: TernTaproom, second: Machine, as_member: SignIn, url: str
) -> None:
    bob = as_member(taproom.people.bob)
    assert tally(bob, url) == {
        "out": (1, "?verdict=out"), "borderline": (0, "?verdict=borderline"),
        "never": (1, "?verdict=never"), "in": (0, "?verdict=in"),
    }  # fmt: skip
    assert shown(bob, url, verdict="out") == ["Tin Kettle"]
    assert tally(bob, url, verdict="out")["out"] == (1, "?")
    page = bob.get(url, {"verdict": "out"}).content.decode()
    assert re.search(r'<a class="tally-out" href="\?" aria-current="true">', page)
    assert page.count('aria-current="true"') == 1


@pytest.mark.parametrize("url", [TODAY, MACHINES])
def test_counts_are_of_what_was_searched_for_and_keep_it(
    taproom: TernTaproom, second: Machine, as_member: SignIn, url: str
) -> None:
    bob, site = as_member(taproom.people.bob), str(taproom.site.pk)
    found = tally(bob, url, q="lantern & co", site=site)
    assert found["never"] == (0, f"?q=lantern+%26+co&verdict=never&site={site}")
    assert tally(bob, url, q="kettle")["out"] == (1, "?q=kettle&verdict=out")
    assert tally(bob, url, site=site)["out"][0] == 0


@pytest.mark.parametrize("url", [TODAY, MACHINES])
def test_it_says_what_it_is_narrowed_to_and_leads_back(
    taproom: TernTaproom, second: Machine, as_member: SignIn, url: str
) -> None:
    bob, site = as_member(taproom.people.bob), str(taproom.site.pk)
    page = bob.get(url, {"verdict": "never", "q": "reef", "site": site}).content.decode()
    assert "<b>1</b> never surveyed at <b>Tern Taproom</b> with <b>“reef”</b>" in page
    assert '<a href="?">Show all</a>' in page
    assert '<a href="?">Show all</a>' not in bob.get(url).content.decode()
    nothing = bob.get(url, {"q": "<b>quay</b>"}).content.decode()
    assert "No machine matches" in nothing
    assert "“&lt;b&gt;quay&lt;/b&gt;”" in nothing


def test_the_search_form_keeps_the_verdict_and_the_site(
    taproom: TernTaproom, second: Machine, as_member: SignIn
) -> None:
    page = as_member(taproom.people.bob).get(TODAY, {"verdict": "out", "site": str(taproom.site.pk)}).content.decode()
    assert '<input type="hidden" name="verdict" value="out">' in page
    assert f'<option value="{taproom.site.pk}" selected>Tern Taproom</option>' in page


@pytest.mark.parametrize("url", [TODAY, MACHINES])
def test_pages_keep_words_verdict_and_site(taproom: TernTaproom, as_member: SignIn, url: str) -> None:
    assert taproom.survey.verdict == "out"
    crowd(taproom, 60)
    bob, site = as_member(taproom.people.bob), str(taproom.site.pk)
    page = bob.get(url, {"q": "marsh", "verdict": "out", "site": site, "page": "2"}).content.decode()
    assert "<b>26 to 50</b> of 60<small>Page 2 of 3</small>" in page
    for number in (1, 3):
        assert f'href="?page={number}&amp;q=marsh&amp;verdict=out&amp;site={site}"' in page


def test_what_has_nothing_to_do_says_no_next_step(taproom: TernTaproom, as_member: SignIn) -> None:
    standing(taproom, title="Tin Kettle", verdict="in", next_step="Nothing to turn")
    standing(taproom, title="Wet Gravel", verdict="in", next_step="Sign the leg plan off")
    page = as_member(taproom.people.bob).get(TODAY).content.decode()
    assert "Nothing to turn" not in page
    assert "Sign the leg plan off" in page


def test_a_site_shows_its_own_machines_worst_first(taproom: TernTaproom, second: Machine, as_member: SignIn) -> None:
    standing(taproom, title="Marsh Weather", verdict="out", bay=make.BayFactory(
        member=taproom.people.alice, floor=taproom.floor, name="Bay 2"))  # fmt: skip
    bob, url = as_member(taproom.people.bob), reverse("site", args=[taproom.site.pk])
    assert shown(bob, url) == ["Marsh Weather", "Lantern Reef"]
    assert shown(bob, url, verdict="never") == ["Lantern Reef"]
    elsewhere = str(second.bay.floor.site_id)
    assert shown(bob, url, site=elsewhere) == ["Marsh Weather", "Lantern Reef"]
    assert tally(bob, url)["out"] == (1, "?verdict=out")
    assert f"{taproom.floor.name} · Bay 2" in bob.get(url).content.decode()
    piece = bob.get(url, {"q": "reef"}, headers={"HX-Request": "true"}).content.decode()
    assert piece.lstrip().startswith('<div id="site-machines"')


def test_sites_tell_their_worst_verdict_in_words(taproom: TernTaproom, second: Machine, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert row_of(bob, "Ferry Hall") == "1 out of spec"
    assert row_of(bob, "Tern Taproom") == "1 never surveyed"
    for verdict, words in (("borderline", "1 borderline"), ("in", "all in spec")):
        MachineStatus.objects.filter(machine=taproom.machine).update(verdict=verdict)
        assert row_of(bob, "Tern Taproom") == words
    make.SiteFactory(member=taproom.people.alice, name="Empty Barn")
    assert row_of(bob, "Empty Barn") == ""


def row_of(client: Client, name: str) -> str:
    """What a site's row says of its machines' verdicts."""
    row = re.search(rf">{name}</a>(.*?)<span class=\"row-place\">", client.get(SITES).content.decode(), re.DOTALL)
    assert row
    return re.sub(r"<[^>]*>", "", row[1]).strip()


def test_sites_stand_as_people_count_and_pages_keep_the_search(taproom: TernTaproom, as_member: SignIn) -> None:
    for number in (10, 2, 1):
        make.SiteFactory(member=taproom.people.alice, name=f"Causeway {number}")
    bob = as_member(taproom.people.bob)
    names = [site.name for site in bob.get(SITES).context["rows"]]
    assert names == ["Causeway 1", "Causeway 2", "Causeway 10", "Tern Taproom"]
    Site.objects.bulk_create(
        Site(organization=taproom.site.organization, created_by=taproom.site.created_by,
             created_at=taproom.site.created_at, name=f"Quay {number}") for number in range(51)
    )  # fmt: skip
    assert 'href="?page=2&amp;q=quay"' in bob.get(SITES, {"q": "quay"}).content.decode()


def test_today_stays_small_with_400_machines(taproom: TernTaproom, as_member: SignIn) -> None:
    """20 kB packed and 1,500 elements: what a slow phone paints in the time that issue 3 allows."""
    assert taproom.survey
    crowd(taproom, 399)
    content = as_member(taproom.people.bob).get(TODAY).content
    assert b"of 400" in content
    assert len(gzip.compress(content)) <= 20_000
    assert len(re.findall(rb"<[a-z]", content)) <= 1500


@pytest.mark.parametrize(
    ("name", "world", "place"),
    [
        ("site", "site", "Sites"), ("floor", "floor", "Sites"), ("bay", "bay", "Sites"), ("bay_edit", "bay", "Sites"),
        ("machine", "machine", "Machines"), ("plan", "plan", "Machines"), ("survey", "survey", "Machines"),
        ("survey_new", "machine", "Machines"), ("instrument", "instrument", "Instruments"),
    ],
)  # fmt: skip
def test_the_bar_marks_the_place_that_a_page_lies_under(
    taproom: TernTaproom, as_member: SignIn, name: str, world: str, place: str
) -> None:
    page = as_member(taproom.people.bob).get(reverse(name, args=[getattr(taproom, world).pk])).content.decode()
    bar = page.split('<nav class="bar-nav"')[1].split("</nav>")[0]
    marked = re.findall(r'<a href="[^"]*" aria-current="(\w+)">.*?</svg>(\w+)</a>', bar)
    assert marked == [("true", place)]


@pytest.mark.parametrize(("url", "marked"), [(TODAY, ["page"]), (MACHINES, ["page"]), (reverse("organization"), [])])
def test_the_bar_marks_the_page_itself_as_such(
    taproom: TernTaproom, as_member: SignIn, url: str, marked: list[str]
) -> None:
    page = as_member(taproom.people.bob).get(url).content.decode()
    bar = page.split('<nav class="bar-nav"')[1].split("</nav>")[0]
    assert re.findall(r'aria-current="(\w+)"', bar) == marked
