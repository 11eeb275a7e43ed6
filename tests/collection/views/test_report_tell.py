"""Whoever stands at a machine tells what is wrong through its label, and sees nothing of the book."""

import datetime
import io
import logging
import uuid
from collections.abc import Callable

import pytest
import time_machine
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from collection import models
from collection.actions.reports import close_report, make_label, report_problem
from collection.forms.reports import PROBLEMS as SHOWN
from collection.models.reports import PROBLEMS
from collection.presets import MOST_REPORTS
from tests import factories as make
from tests.collection.forms.test_hostile_posts import fields_of
from tests.factories import NOON
from tests.surveying import author
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]
HOUR = datetime.timedelta(hours=1)
THANKS = reverse("report_thanks")
#: As many as one address of the network may send in an hour.
MOST = int(settings.ACCOUNT_RATE_LIMITS["report"].split("/")[0])


@pytest.fixture
def url(taproom: TernTaproom) -> str:
    return reverse("report", args=[taproom.report_token])


@pytest.fixture
def stranger() -> Client:
    """A browser without any cookie, that checks tokens as a real one must."""
    return Client(enforce_csrf_checks=True)


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


def secrets_of(taproom: TernTaproom) -> list[str]:
    """What a stranger must not learn."""
    machine = taproom.machine
    names = [machine.title, machine.code, taproom.site.name, taproom.bay.name, taproom.people.alice.organization.name]
    return [*names, "alice@", "bob@", "6.5", "out of spec", str(machine.pk), str(taproom.site.organization_id)]


def test_it_asks_one_question_with_five_answers(stranger: Client, url: str) -> None:
    page = stranger.get(url)
    html = page.content.decode()
    assert page.status_code == 200
    assert "<h1>What is wrong with this machine?</h1>" in html
    assert [words in html for _, words in SHOWN] == [True] * 5
    assert html.count('type="submit" name="problem"') == 5
    assert "Do not lift or move it yourself" in html


def test_its_answers_are_those_that_the_table_takes() -> None:
    assert sorted(code for code, _ in SHOWN) == sorted(PROBLEMS)


@pytest.mark.parametrize("problem", PROBLEMS)
def test_one_press_tells_it_and_leads_to_thanks(stranger: Client, url: str, problem: str) -> None:
    key = fields_of(stranger.get(url).content.decode()).sent["write_key"]
    answer = stranger.post(url, {"problem": problem, "write_key": key})
    assert (answer.status_code, answer.url) == (302, THANKS)
    assert models.Report.objects.get().problem == problem
    assert stranger.post(url, {"problem": problem, "write_key": key}).status_code == 302
    assert models.Report.objects.count() == 1
    thanks = stranger.get(THANKS)
    assert thanks.status_code == 200
    assert "Thank you" in thanks.content.decode()


def test_nothing_of_the_book_shows_whoever_looks(taproom: TernTaproom, url: str, bob: Client) -> None:
    assert taproom.survey
    ended = reverse("report", args=["no-such-label"])
    pages = {who: [each.get(url), each.post(url), each.get(THANKS), each.get(ended)]
             for who, each in (("stranger", Client()), ("bob", bob))}  # fmt: skip
    for answers in pages.values():
        for answer in answers:
            assert not [word for word in secrets_of(taproom) if word in answer.content.decode()]
    alike = [
        [_without_key(answer.content.decode()) for answer in answers[:2]] for answers in pages.values()
    ]  # fmt: skip
    assert alike[0] == alike[1], "a member sees what a stranger sees"


def test_every_machine_has_the_same_page(taproom: TernTaproom, url: str) -> None:
    theirs = make.MachineFactory(member=taproom.people.charlie)
    link = make_label(by=author(taproom.people.charlie), machine=theirs)
    other = Client().get(reverse("report", args=[link.token])).content.decode()
    assert _without_key(other) == _without_key(Client().get(url).content.decode())


@pytest.mark.parametrize("kind", ["unknown", "ended", "archived", "malformed", "almost", "long"])
def test_every_address_that_leads_nowhere_says_the_same(taproom: TernTaproom, url: str, kind: str) -> None:
    token = taproom.report_token
    if kind == "ended":
        make_label(by=author(taproom.people.bob), machine=taproom.machine, replaces=taproom.report_link.pk)
    if kind == "archived":
        models.Machine.objects.filter(pk=taproom.machine.pk).update(archived_at=NOON)
    wrong = {"unknown": "A" * 43, "malformed": "é%00 ½'", "almost": token[:-1], "long": "x" * 5000}.get(kind, token)
    absent = Client().get(reverse("report", args=["B" * 43]))
    for answer in (Client().get(reverse("report", args=[wrong])), Client().post(reverse("report", args=[wrong]))):
        assert answer.status_code == 404
        assert "This label is no longer in use" in answer.content.decode()
        assert answer.content == absent.content
    assert not models.Report.objects.exists()


def test_replaced_between_reading_and_press_it_is_no_longer_in_use(
    taproom: TernTaproom, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = taproom.report_link
    monkeypatch.setattr("collection.access.report_link_for", lambda token: link)
    make_label(by=author(taproom.people.bob), machine=taproom.machine, replaces=link.pk)
    answer = Client().post(url, {"problem": "moved"})
    assert answer.status_code == 404
    assert "This label is no longer in use" in answer.content.decode()


@pytest.mark.parametrize("body", [{}, {"problem": ""}, {"problem": "burns"}, {"problem": "moved", "write_key": "x"}])
def test_what_no_button_sends_is_refused_and_saves_nothing(stranger: Client, url: str, body: dict[str, str]) -> None:
    answer = stranger.post(url, body)
    assert answer.status_code == 422
    assert "Nothing is reported yet" in answer.content.decode()
    assert not models.Report.objects.exists()


def test_looking_writes_nothing_and_asks_one_row(stranger: Client, url: str) -> None:
    with CaptureQueriesContext(connection) as asked:
        answer = stranger.get(url)
    assert [query["sql"].split()[0] for query in asked] == ["SELECT"]
    assert answer.cookies == {}, "a phone that takes no cookies can report as well"


def test_no_answer_may_be_kept_found_or_passed_on(stranger: Client, url: str) -> None:
    ended = reverse("report", args=["no-such-label"])
    answers = [stranger.get(url), stranger.post(url), stranger.put(url), stranger.get(THANKS), stranger.get(ended)]
    answers.append(stranger.post(url, {"problem": "moved"}))
    assert [answer.status_code for answer in answers] == [200, 422, 405, 200, 404, 302]
    for answer in answers:
        assert "no-store" in answer.headers["Cache-Control"]
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert answer.headers["X-Robots-Tag"] == "noindex, nofollow"


@pytest.mark.parametrize(("words", "args"), [("%s: %s", ("Not Found", "URL")), ("Not Found: URL?x=1", ())])
def test_its_address_is_not_written_into_the_log(
    taproom: TernTaproom, url: str, words: str, args: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A refusal is, with its path: who can read the log could else report."""
    terminal, written = logging.getHandlerByName("terminal"), io.StringIO()
    monkeypatch.setattr(terminal, "stream", written)
    for path in (url, "/sites/"):
        told = tuple(each.replace("URL", path) for each in args)
        line = logging.LogRecord("django.request", logging.WARNING, "", 0, words.replace("URL", path), told, None)
        assert terminal is not None
        terminal.handle(line)
    assert taproom.report_token not in written.getvalue()
    assert "Not Found: /report/…" in written.getvalue()
    assert "Not Found: /sites/" in written.getvalue()


def test_the_seventh_within_an_hour_is_told_to_wait(taproom: TernTaproom, url: str) -> None:
    with time_machine.travel(NOON, tick=False):
        for number in range(MOST_REPORTS):
            report = report_problem(link=taproom.report_link, problem=PROBLEMS[number % 5], key=uuid.uuid4(), at=NOON)
            close_report(by=author(taproom.people.bob, NOON, why="Play."), report=report)
        answer = Client().post(url, {"problem": "moved"})
    assert (answer.status_code, answer.headers["Retry-After"]) == (429, "3600")
    assert "Told often enough" in answer.content.decode()
    assert not [word for word in secrets_of(taproom) if word in answer.content.decode()]


def test_told_twice_within_the_hour_both_are_thanked(taproom: TernTaproom, url: str) -> None:
    for _ in range(2):
        assert Client().post(url, {"problem": "moved", "write_key": str(uuid.uuid4())}).url == THANKS
    assert models.Report.objects.values("times").get() == {"times": 1}


def test_one_address_may_tell_so_much_and_another_still_may(taproom: TernTaproom, url: str) -> None:
    for _ in range(MOST):
        assert Client().post(url, {"problem": "moved"}).status_code == 302
    answer = Client().post(url, {"problem": "wobbles"})
    assert (answer.status_code, answer.headers["Retry-After"]) == (429, "3600")
    assert "no-store" in answer.headers["Cache-Control"]
    assert Client().get(url).status_code == 200
    assert Client(REMOTE_ADDR="203.0.113.7").post(url, {"problem": "wobbles"}).status_code == 302
    assert models.Report.objects.count() == 2


def test_what_is_refused_does_not_count(url: str) -> None:
    for _ in range(MOST + 1):
        assert Client().post(url, {"problem": "burns"}).status_code == 422
    assert Client().post(url, {"problem": "moved"}).status_code == 302


def test_after_the_hour_it_may_tell_again(url: str) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        for _ in range(MOST + 1):
            last = Client().post(url, {"problem": "moved"}).status_code
        assert last == 429
        clock.shift(HOUR + datetime.timedelta(seconds=1))
        assert Client().post(url, {"problem": "moved"}).status_code == 302


def _without_key(html: str) -> str:
    return "\n".join(line for line in html.splitlines() if "write_key" not in line)
