"""Fixtures that every test may use: the cast, the worlds, clients that are signed in, and what a machine can run."""

import os
import shutil
from collections.abc import Callable
from functools import partial

import pytest
from django.conf import settings
from django.core.cache import cache
from django.db import connection, transaction
from django.db.backends.base.operations import BaseDatabaseOperations
from django.test import Client, client
from whitenoise.middleware import WhiteNoiseMiddleware

from collection import models
from collection.models import guards
from tests import worlds

CHROMIUM = shutil.which("chromium")
#: The same without its window takes a third less of the processor; only what pages it keeps for Back is another matter.
WINDOWLESS = shutil.which("chromium-headless-shell") or CHROMIUM
# Playwright's synchronous interface runs an event loop in this thread, beside Django's ORM.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")


def pytest_configure() -> None:
    """Hash the cast's passwords fast; what guards real ones is tested with the real hasher."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    client.store_rendered_templates = partial(_store_page, client.store_rendered_templates)
    WhiteNoiseMiddleware.add_files_from_finders = _files_once(WhiteNoiseMiddleware.add_files_from_finders)
    BaseDatabaseOperations.execute_sql_flush = _flush_unguarded(BaseDatabaseOperations.execute_sql_flush)


def _flush_unguarded(flush: Callable[..., None]) -> Callable[..., None]:
    """Let a test's database be emptied after a test: the guards of the record are lifted for as long as that takes."""

    def empty(operations: BaseDatabaseOperations, statements: list[str]) -> None:
        connection = operations.connection
        with transaction.atomic(using=connection.alias):
            for table in guards.recorded_tables():
                guards.take_down(connection, table)
            flush(operations, statements)
            for table in guards.recorded_tables():
                guards.put_up(connection, table)

    return empty


def _files_once(look: Callable[[WhiteNoiseMiddleware], None]) -> Callable[[WhiteNoiseMiddleware], None]:
    """Let every client have the static files that the first one found: looking anew took a seventh of all tests."""
    found: dict[str, object] = {}

    def give(middleware: WhiteNoiseMiddleware) -> None:
        if not found:
            look(middleware)
            found.update(middleware.files)
        middleware.files.update(found)

    return give


def _store_page(store: Callable[..., None], kept: dict[str, object], *signal: object, **rendered: object) -> None:
    """Let Django's test client keep the page's context alone: a copy for each widget took a quarter of all tests."""
    if "context" not in kept:
        store(kept, *signal, **rendered)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the choice for a second database: the others were run on the first, and pytest-django shuts it to them."""
    parser.addoption("--database-only", action="store_true", help="run only the tests that hang on the database")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Put the long ones first. Skip what this machine cannot run and say why, or let it fail if none may skip."""
    if config.getoption("database_only"):
        config.hook.pytest_deselected(items=[item for item in items if not _is_of_the_database(item)])
        items[:] = [item for item in items if _is_of_the_database(item)]
    items.sort(key=lambda item: (not item.get_closest_marker("long"), not item.get_closest_marker("browser")))
    if os.environ.get("LEVELBOOK_NO_SKIPS"):
        return
    for item in items:
        if item.get_closest_marker("browser") and not CHROMIUM:
            item.add_marker(pytest.mark.skip(reason="Chromium is not installed: install Debian's package chromium"))
        if item.get_closest_marker("postgresql") and connection.vendor != "postgresql":
            item.add_marker(pytest.mark.skip(reason="needs PostgreSQL: set DATABASE_URL to a server"))


def _is_of_the_database(item: pytest.Item) -> bool:
    if item.get_closest_marker("one_database"):
        return False
    wanted = {"db", "transactional_db", "live_server"} & set(getattr(item, "fixturenames", ()))
    return bool(wanted or item.get_closest_marker("django_db") or item.get_closest_marker("postgresql"))


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Keep a test database of SQLite in a file, as a real one: in memory, connections refuse each other at once.

    Only a power cut would need the full syncs, which test_environment.py asks the real settings for.
    """
    if connection.vendor == "sqlite":
        options = connection.settings_dict["OPTIONS"]
        assert "synchronous=FULL" in options["init_command"]
        options["init_command"] = options["init_command"].replace("synchronous=FULL", "synchronous=OFF")
        connection.settings_dict["TEST"]["NAME"] = str(tmp_path_factory.mktemp("database") / "test.sqlite3")


@pytest.fixture(autouse=True)
def _empty_cache() -> None:
    """Start each test with no rate limits in the cache."""
    cache.clear()


@pytest.fixture
def people(db: None) -> worlds.Cast:
    """Alice, Bob, Vera, Charlie and Dana."""
    return worlds.cast()


@pytest.fixture
def taproom(db: None) -> worlds.TernTaproom:
    """Alice's Tern Taproom with one machine."""
    return worlds.tern_taproom()


@pytest.fixture
def as_member() -> Callable[[models.Membership], Client]:
    """Return a function that gives a client signed in as a member."""

    def sign_in(member: models.Membership) -> Client:
        signed_in = Client()
        signed_in.force_login(member.user)
        return signed_in

    return sign_in


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, object]) -> dict[str, object]:
    """Use Debian's Chromium, with nothing that reaches beyond this machine."""
    return {
        **browser_type_launch_args,
        "executable_path": WINDOWLESS,
        "args": ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"],
    }
