"""Nothing that someone typed is lost when a sign-in runs out, and nobody else sees or sends it."""

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests.factories import PASSWORD
from tests.journeys.conftest import serious_findings, sign_in
from tests.journeys.surveying import SENDINGS, Typed, must_be_stored, must_show, no_answer, save, type_survey

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

BOB, ALICE = "bob@example.org", "alice@example.org"


def test_an_expired_sign_in_keeps_it_until_one_signs_in_again(form: Page) -> None:
    typed = Typed()
    key = type_survey(form, typed)
    Session.objects.all().delete()
    save(form)
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet: survey of Lantern Reef. Your sign-in has run out.")
    assert serious_findings(form) == []
    form.locator(".kept-line").get_by_role("link", name="Sign in").click()
    form.wait_for_url("**/accounts/login/?next=*")
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet: 1 kept on this device.")
    form.get_by_label("E-mail").fill(BOB)
    form.get_by_label("Password").fill(PASSWORD)
    form.get_by_role("main").get_by_role("button", name="Sign in").click()
    form.wait_for_url(SENDINGS)
    expect(form.locator(".kept-bar")).to_contain_text("Sent: survey of Lantern Reef")
    must_be_stored(key, typed)
    assert models.Survey.objects.count() == 1


def test_a_draft_outlives_an_expired_sign_in(form: Page) -> None:
    """The live answer is no login page, and the half-typed survey is there again afterwards."""
    type_survey(form, Typed())
    expect(form.locator("#survey-answer")).to_contain_text("left high")
    Session.objects.all().delete()
    form.get_by_label("Note").fill("After the end")
    expect(form.locator(".kept-bar")).to_contain_text("Your sign-in has run out.")
    expect(form.locator("#survey-answer")).to_contain_text("left high")
    form.locator(".kept-bar").get_by_role("link", name="Sign in").click()
    form.get_by_label("E-mail").fill(BOB)
    form.get_by_label("Password").fill(PASSWORD)
    form.get_by_role("main").get_by_role("button", name="Sign in").click()
    form.wait_for_url(SENDINGS)
    must_show(form, Typed(note="After the end"))


def test_another_person_on_the_device_sees_and_sends_nothing_of_it(
    form: Page, context: BrowserContext, live_server: LiveServer
) -> None:
    """Alice owns the organization and may write there, but Bob typed it."""
    typed = Typed()
    key = type_survey(form, typed)
    context.set_offline(True)
    save(form)
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet")
    context.clear_cookies()
    context.set_offline(False)
    expect(form.locator(".kept-bar")).to_contain_text("Your sign-in has run out.")
    sign_in(form, live_server.url, ALICE)
    for path in ("/today/", "/machines/", form_path()):
        form.goto(live_server.url + path)
        expect(form.get_by_role("navigation").first).to_be_visible()
        expect(form.locator(".kept-bar, .kept-line")).to_have_count(0)
        assert "Carpet edge" not in form.content()
    assert models.Survey.objects.count() == 0
    form.goto(f"{live_server.url}/accounts/logout/")
    form.get_by_role("main").get_by_role("button", name="Sign out").click()
    expect(form.locator(".kept-bar")).to_contain_text("1 kept on this device")
    sign_in(form, live_server.url, BOB)
    expect(form.locator(".kept-bar")).to_contain_text("Sent: survey of Lantern Reef")
    survey = must_be_stored(key, typed)
    assert (survey.created_by.email, models.Survey.objects.count()) == (BOB, 1)


def form_path() -> str:
    return f"/machines/{models.Machine.objects.get().pk}/surveys/new/"


def test_at_sign_out_one_is_told_what_is_not_sent(form: Page, live_server: LiveServer) -> None:
    type_survey(form, Typed())
    form.route(SENDINGS, no_answer)
    save(form)
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet")
    form.goto(f"{live_server.url}/accounts/logout/")
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet: survey of Lantern Reef")
    expect(form.get_by_text("stays on this device, and only you can see and send it")).to_be_visible()
