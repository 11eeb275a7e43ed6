"""Every page in every state, and how a browser gets there. New rows of the access table come along by themselves."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from unittest import mock

from allauth.account.forms import default_token_generator
from allauth.account.models import EmailAddress, EmailConfirmationHMAC
from allauth.account.utils import user_pk_to_url_str
from django.conf import settings
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Page, Response

from collection import models
from collection.actions.record import ActionRefused, StaleEdit
from tests import factories as make
from tests.codes import proven
from tests.collection.access.table import ROWS, Row
from tests.collection.views.test_undone_writes import undone_write
from tests.worlds import TernTaproom

HOST = "127.0.0.1"
#: What a bare world has; rows about other things have no empty state.
BARE = {"site", "floor", "bay", "machine", "instrument"}
#: Forms that look another way where what they build on is not there yet.
NEEDY = ("machine_new", "machine_move", "machine_legs", "survey_new", "plan_new", "instrument_new", "machine_label")
#: Its row's address leads to a link that no longer works, which holds no form.
NO_FORM = "account_reset_password_from_key"
#: Addresses that answer with data for a script.
NO_PAGES = ("acting", "health")
#: Pages that people print.
ON_PAPER = ("plan", "site", "floor", "vial_strip", "machine_label")
#: A word that no field for numbers takes.
NONSENSE = "12,5 x"

_ANOTHER_PAGE = "() => document.readyState === 'complete' && document.body.dataset.left !== 'no'"
_SEND_EMPTY = (Path(__file__).parent / "send_empty.js").read_text(encoding="utf-8")


@dataclass(frozen=True)
class Sight:
    """One page in one state: who looks, where, and what the answer's status must be.

    ``sends`` names the address to which the page's form is sent with nothing right in it; ``answer`` makes an answer
    that no browser gets by itself; ``opened`` opens every part that is folded away.
    """

    page: str
    state: str
    who: models.User | None
    path: str
    status: int = 200
    sends: str = ""
    answer: Callable[[], Any] | None = None
    opened: bool = False

    @property
    def name(self) -> str:
        """What files and messages call it."""
        return f"{self.page}-{self.state}"

    def reach(self, page: Page, base: str) -> list[str]:
        """Bring the browser there; return what is wrong with the answer."""
        address = base + self.path
        if self.answer:
            made = self.answer()
            headers = {name: value for name, value in made.headers.items() if name != "Set-Cookie"}
            page.route(
                address, lambda route: route.fulfill(status=made.status_code, headers=headers, body=made.content)
            )
        found = page.goto(address, wait_until="load")
        if self.answer:
            page.unroute(address)
        if self.sends:
            # A script of the page may write the address anew, so a navigation alone says little.
            page.evaluate("() => { document.body.dataset.left = 'no' }")
            with page.expect_response(_is_a_sent_form) as sending:
                page.evaluate(_SEND_EMPTY, {"address": self.sends, "nonsense": NONSENSE})
            found = sending.value
            page.wait_for_function(_ANOTHER_PAGE)
        if page.locator("[hx-trigger*=load]").count():  # a piece still comes, and moves what stands below it
            page.wait_for_load_state("networkidle")
        status = found.status if found else 0
        return [] if status == self.status else [f"the answer is {status} instead of {self.status}"]


def public(world: TernTaproom, state: str = "full") -> Iterator[Sight]:
    """Yield what anyone may see."""
    for row in ROWS:
        if _answer(row, "GET", 0) == 200:
            yield Sight(row.name, state, None, row.address(world))


def shown(world: TernTaproom, state: str = "full", *, only: set[str] | None = None) -> Iterator[Sight]:
    """Yield every page that Alice, the owner, can open; only those about some things of the world if told.

    Pages of the account that anyone may see are left to `public`: they show nothing of hers.
    """
    for row in ROWS:
        anyones = row.name.startswith("account_") and _answer(row, "GET", 0) == 200
        if _answer(row, "GET", -1) == 200 and not anyones and (only is None or set(row.ids.values()) <= only):
            yield Sight(row.name, state, world.people.alice.user, row.address(world))


def read_only(world: TernTaproom) -> Iterator[Sight]:
    """Yield every page that Vera, who may only read, can open."""
    for row in ROWS:
        if _answer(row, "GET", 3) == 200 and row.name not in ("organization_new",) and "account" not in row.name:
            yield Sight(row.name, "reader", world.people.vera.user, row.address(world))


def about_things(sights: Iterator[Sight]) -> Iterator[Sight]:
    """Yield only pages that show names: lists and pages about one thing, no forms and no account pages."""
    forms = {row.name for row in ROWS if "POST" in row.answers}
    return (sight for sight in sights if sight.page not in forms and not sight.page.startswith("account_"))


def opened(sights: Iterator[Sight]) -> Iterator[Sight]:
    """Yield the same pages with every part unfolded."""
    return (replace(sight, state="open", opened=True) for sight in sights)


def printed(sights: Iterator[Sight]) -> Iterator[Sight]:
    """Yield, as they look on paper, the pages that are made to be printed."""
    return (replace(sight, state="print") for sight in sights if sight.page in ON_PAPER or "print" in sight.page)


def empty(world: TernTaproom, erin: models.User) -> Iterator[Sight]:
    """Yield lists of a fresh organization, pages about things with nothing in them, and forms that ask for more."""
    rows = {row.name: row for row in ROWS}
    for sight in shown(world, "empty", only=BARE):
        row = rows[sight.page]
        if ("POST" not in row.answers or sight.page in NEEDY) and _answer(row, "GET", 0) != 200:
            yield sight if row.ids else replace(sight, who=erin)


def refused(world: TernTaproom) -> Iterator[Sight]:
    """Yield every form, sent with nothing right in it."""
    for row in ROWS:
        for place, who in ((0, None), (-1, world.people.alice.user)):
            if (
                _answer(row, "POST", place) == 422
                and row.name != NO_FORM
                and (who or row.name != "account_reset_password")
            ):
                yield Sight(row.name, "error", who, _form_page(row, world), 422, sends=row.address(world))


def special(world: TernTaproom) -> Iterator[Sight]:
    """Yield pages of the account that need a link from a mail, or an odd account."""
    someone = make.UserFactory(email=f"someone.{world.people.alice.user.email}"[:200])
    address = EmailAddress.objects.create(user=someone, email=someone.email, verified=False)
    link = {"uidb36": user_pk_to_url_str(someone), "key": default_token_generator.make_token(someone)}
    confirm = reverse("account_confirm_email", kwargs={"key": EmailConfirmationHMAC(address).key})
    reset = reverse(NO_FORM, kwargs=link)
    sent = reverse(NO_FORM, kwargs={**link, "key": "set-password"})
    yield Sight("account_confirm_email", "link", None, confirm)
    yield Sight(NO_FORM, "link", None, reset)
    yield Sight(NO_FORM, "error", None, reset, 422, sends=sent)
    someone_else = make.UserFactory(email=f"else.{someone.email}"[:200])
    someone_else.set_unusable_password()
    someone_else.save()
    yield Sight("account_set_password", "full", someone_else, reverse("account_set_password"))
    yield Sight("organization_new", "alone", world.people.dana, reverse("organization_new"))
    for template in ("account/signup_closed.html", "account/verified_email_required.html"):
        name = template.split("/")[1].removesuffix(".html")
        yield Sight(name, "full", None, f"/seen/{name}/", answer=lambda template=template: _rendered(template))


def troubles(world: TernTaproom) -> Iterator[Sight]:
    """Yield every error page, made by the app itself."""
    alice, vera = world.people.alice.user, world.people.vera.user
    sites, nowhere = reverse("sites"), "/nowhere/"
    stale = StaleEdit(world.people.alice, world.site)
    for code, who, path, answer in (
        (400, alice, sites, lambda: _client(alice).get(sites, headers={"host": "elsewhere.example"})),
        (403, vera, reverse("site_new"), None),
        (404, alice, nowhere, None),
        (409, alice, sites, lambda: _broken(alice, stale)),
        (422, alice, sites, lambda: _broken(alice, ActionRefused("This page was opened for another organization."))),
        (429, None, reverse("account_login"), _too_often),
        (500, alice, sites, lambda: _broken(alice, RuntimeError("planted"))),
        (503, alice, sites, lambda: _broken(alice, undone_write("SQLITE_FULL"))),
    ):
        yield Sight(str(code), "error", who, path, code, answer=answer)
    yield Sight("403_csrf", "error", None, reverse("account_login"), 403, answer=_without_token)


def plans(kinds: dict[str, models.Plan], who: models.User) -> Iterator[Sight]:
    """Yield the page of a leg plan at each stage."""
    for kind, plan in kinds.items():
        yield Sight("plan", kind, who, reverse("plan", args=[plan.pk]))


def levels(world: TernTaproom, kinds: dict[str, models.Instrument]) -> Iterator[Sight]:
    """Yield the page of a level, however its zero stands, and the pages that ask for a check."""
    who = world.people.alice.user
    for kind, level in kinds.items():
        yield Sight("instrument", kind, who, reverse("instrument", args=[level.pk]))
    for page in ("today", "instruments"):
        yield Sight(page, "zeros-due", who, reverse(page))
    yield Sight("survey_new", "zeros-due", who, reverse("survey_new", args=[world.machine.pk]))
    for kind in ("stale", "dropped"):
        yield Sight("instrument_zero", kind, who, reverse("instrument_zero", args=[kinds[kind].pk]))


def kinds(world: TernTaproom, made: dict[str, models.Instrument]) -> Iterator[Sight]:
    """Yield the pages of instruments that show no number, the forms that add them, and what vials lead to."""
    who = world.people.alice.user
    for kind, one in made.items():
        yield Sight("instrument", kind, who, reverse("instrument", args=[one.pk]))
        if one.kind == "vial":
            yield Sight("vial_strip", kind, who, reverse("vial_strip", args=[one.pk]))
    for kind in ("bubble", "blocks", "ball", "vial"):
        yield Sight("instrument_new", kind, who, reverse("instrument_new", query={"kind": kind}))
    yield Sight("instruments", "kinds", who, reverse("instruments"))
    yield Sight("instrument_edit", "vial", who, reverse("instrument_edit", args=[world.vial.pk]))
    yield Sight("instrument_event", "vial", who, reverse("instrument_event", args=[world.vial.pk]))
    for state, lines in (("read", "0.5"), ("read-beyond", "3"), ("read-unclear", "x")):
        address = reverse("instrument", args=[world.vial.pk], query={"lines": lines, "side": "rear"})
        yield Sight("instrument", state, who, address)
    wide = reverse("vial_strip", args=[world.vial.pk], query={"spacing_mm": "90"})
    yield Sight("vial_strip", "too-long", who, wide, 422)


def weighed(survey: models.Survey, who: models.User) -> Iterator[Sight]:
    """Yield a survey whose feet were told by four scales, and the form that corrects it."""
    for page in ("survey", "survey_correct"):
        yield Sight(page, "weighed", who, reverse(page, args=[survey.pk]))


def twisted(surveys: dict[str, models.Survey], who: models.User) -> Iterator[Sight]:
    """Yield surveys that were read across at both ends, and the form that corrects a gap counted in turns."""
    for kind, survey in surveys.items():
        yield Sight("survey", f"ends-{kind}", who, reverse("survey", args=[survey.pk]))
    yield Sight("survey_correct", "turns", who, reverse("survey_correct", args=[surveys["hung"].pk]))


def other_kinds(surveys: dict[str, models.Survey], who: models.User) -> Iterator[Sight]:
    """Yield surveys that were read with something else than a level, and the forms that correct them."""
    for kind, survey in surveys.items():
        for page in ("survey", "survey_correct"):
            yield Sight(page, kind, who, reverse(page, args=[survey.pk]))


def cookie_of(who: models.User, base: str) -> dict[str, str]:
    """Return the cookie that signs someone in, for a browser's context; no page asks again who it is."""
    client = proven(_client(who), who, stays_s=60 * 60)
    return {"name": settings.SESSION_COOKIE_NAME, "value": client.session.session_key or "", "url": base}


def _is_a_sent_form(told: Response) -> bool:
    """Whether the browser goes to what was answered; pieces that a script asks for are none."""
    return told.request.method == "POST" and told.request.is_navigation_request()


def _answer(row: Row, method: str, place: int) -> int:
    cells = row.answers.get(method)
    return cells[place] if cells and row.name not in NO_PAGES else 0


def _form_page(row: Row, world: TernTaproom) -> str:
    """The page that holds the form of this row: itself, or that of the thing it is about."""
    if "GET" in row.answers:
        return row.address(world)
    return Row(row.name.split("_")[0], {}, row.ids, row.words).address(world)


def _client(who: models.User | None) -> Client:
    client = Client(raise_request_exception=False, SERVER_NAME=HOST)
    if who:
        client.force_login(who)
    return client


def _broken(who: models.User, error: Exception) -> Any:
    """What the list of sites answers when its query raises."""
    with mock.patch("collection.queries.sites.sites_of", side_effect=error):
        return _client(who).get(reverse("sites"))


def _too_often() -> Any:
    """What the sign-in answers after many wrong passwords."""
    client = _client(None)
    for number in range(60):
        typed = {"login": f"nobody{number % 3}@example.org", "password": "x"}
        answer = client.post(reverse("account_login"), typed)
        if answer.status_code == 429:
            break
    return answer


def _without_token() -> Any:
    return Client(enforce_csrf_checks=True, SERVER_NAME=HOST).post(reverse("account_login"), {})


def _rendered(template: str) -> Any:
    """A page that this set-up never shows, as the account library would fill it."""
    answer = _client(None).get(reverse("welcome"))
    answer.content = render_to_string(template, request=answer.wsgi_request).encode()
    return answer
