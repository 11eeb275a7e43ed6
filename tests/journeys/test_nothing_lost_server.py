"""Nothing that someone typed is lost when the server is killed: a server of its own, with its own book in a file."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from tests.journeys.conftest import sign_in
from tests.journeys.surveying import SENDINGS, SURVEY_PAGE, Typed, key_of, must_show, save, type_survey
from tests.own_server import PROJECT, free_port, wait_for

pytestmark = pytest.mark.browser

BOB = "bob@example.org"
WORLD = """
import django
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.worlds import tern_taproom
print(tern_taproom().machine.pk)
"""


class Book:
    """A folder with the Tern Taproom in it, and the real server on it, which can be killed and started again."""

    def __init__(self, folder: Path, machine: str) -> None:
        self.folder, self.machine, self.port = folder, machine, free_port()
        self.base = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        command = [sys.executable, "manage.py", "start", "--port", str(self.port)]
        environment = {**os.environ, "LEVELBOOK_DATA": str(self.folder)}
        environment.pop("DATABASE_URL", None)
        # A group of its own, so that the server dies with the process that started it.
        self.process = subprocess.Popen(
            command, cwd=PROJECT, env=environment, stdout=subprocess.DEVNULL, start_new_session=True
        )
        wait_for(self.base)

    def kill(self) -> None:
        """As a power cut would: no process of it finishes anything."""
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(timeout=20)

    def form(self, page: Page) -> None:
        page.goto(f"{self.base}/machines/{self.machine}/surveys/new/")

    def surveys(self) -> dict[str, list[tuple[str, ...]]]:
        """What is in the file: each survey's key, with direction, text, high end and spot of its readings."""
        with sqlite3.connect(self.folder / "levelbook.sqlite3") as database:
            keys = [key for (key,) in database.execute("select id from collection_survey")]
            sql = "select direction, text, high_end, spot from collection_reading where survey_id = ? order by place"
            found = {str(uuid.UUID(key)): list(database.execute(sql, (key,))) for key in keys}
        database.close()
        return found


@pytest.fixture(scope="module")
def first_page(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder with the world in it, and the machine's key; each test works on a copy."""
    folder = tmp_path_factory.mktemp("book")
    ours = {"PYTHONPATH": str(PROJECT), "LEVELBOOK_DATA": str(folder), "DJANGO_SETTINGS_MODULE": "collection.settings"}
    environment = {**os.environ, **ours}
    environment.pop("DATABASE_URL", None)
    command = [sys.executable, "-c", WORLD]
    made = subprocess.run(command, cwd=PROJECT, env=environment, capture_output=True, text=True, check=True)
    return folder, made.stdout.split()[-1]


@pytest.fixture
def book(first_page: tuple[Path, str], tmp_path: Path) -> Iterator[Book]:
    folder, machine = first_page
    book = Book(Path(shutil.copytree(folder, tmp_path / "book")), machine)
    yield book
    book.kill()


@pytest.fixture
def form(phone: Page, book: Book) -> Page:
    sign_in(phone, book.base, BOB)
    book.form(phone)
    return phone


def test_the_server_is_killed_and_started_again(form: Page, book: Book) -> None:
    typed = Typed()
    key = type_survey(form, typed)
    book.kill()
    save(form)
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet: survey of Lantern Reef")
    form.get_by_role("button", name="Send now").click()
    expect(form.locator(".kept-line")).to_contain_text("Not sent yet")
    book.start()
    assert book.surveys() == {}
    form.get_by_role("button", name="Send now").click()
    form.wait_for_url(SURVEY_PAGE)
    assert book.surveys() == {key: typed.readings}


def test_it_is_sent_by_itself_once_the_server_is_back(form: Page, book: Book) -> None:
    typed = Typed()
    key = type_survey(form, typed)
    book.kill()
    save(form)
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet")
    book.start()
    form.wait_for_url(SURVEY_PAGE, timeout=40_000)
    assert book.surveys() == {key: typed.readings}


def test_a_half_typed_survey_outlives_the_server(form: Page, book: Book) -> None:
    typed = Typed()
    key = type_survey(form, typed)
    book.kill()
    book.start()
    form.reload()
    must_show(form, typed)
    assert key_of(form) == key


def test_the_server_is_killed_between_the_write_and_its_answer(form: Page, book: Book) -> None:
    typed = Typed()
    key = type_survey(form, typed)

    def killed(route: Route) -> None:
        if route.request.method == "POST" and "x-keep" in route.request.headers:
            assert route.fetch().status == 201
            book.kill()
            route.abort("connectionreset")
        else:
            route.continue_()

    form.route(SENDINGS, killed)
    save(form)
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet")
    form.unroute(SENDINGS)
    book.start()
    assert book.surveys() == {key: typed.readings}
    form.get_by_role("button", name="Send now").click()
    form.wait_for_url(SURVEY_PAGE)
    assert book.surveys() == {key: typed.readings}


def test_two_tabs_keep_two_surveys(form: Page, context: BrowserContext, book: Book) -> None:
    one, two = Typed(along="6.1", note="Carpet one"), Typed(along="6.2", note="Carpet two")
    other = context.new_page()
    book.form(other)
    keys = []
    for page, typed in ((form, one), (other, two)):
        page.bring_to_front()
        keys.append(type_survey(page, typed))
    form.reload()
    other.reload()
    must_show(form, one)
    must_show(other, two)
    context.set_offline(True)
    for page in (form, other):
        save(page)
        expect(page.locator(".kept-bar")).to_contain_text("Not sent yet")
    context.set_offline(False)
    for page, key in zip((form, other), keys, strict=True):
        page.wait_for_url(f"**/surveys/{key}/", timeout=20_000)
    assert book.surveys() == {keys[0]: one.readings, keys[1]: two.readings}
