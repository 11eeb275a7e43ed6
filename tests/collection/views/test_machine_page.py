"""The page of one machine: how it stands, what follows from what is not known, its history."""

import datetime
import re
from collections.abc import Callable

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from collection.actions.plans import record_turns
from collection.models import Leg, Membership
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]


def page_of(taproom: TernTaproom, client: Client) -> str:
    answer = client.get(reverse("machine", args=[taproom.machine.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_new_machine_says_what_it_wants_and_what_to_do(taproom: TernTaproom, as_member: SignIn) -> None:
    page = page_of(taproom, as_member(taproom.people.bob))
    assert "Never surveyed" in page
    assert "pitch 6.50° ± 0.20°" in page
    assert reverse("survey_new", args=[taproom.machine.pk]) in page
    assert reverse("plan_new", args=[taproom.machine.pk]) in page
    assert page.count('<a class="button" ') == 1


def test_it_shows_bars_verdict_and_how_it_was_measured(taproom: TernTaproom, as_member: SignIn) -> None:
    assert taproom.survey.verdict == "out"
    page = page_of(taproom, as_member(taproom.people.bob))
    for words in ("out of spec", "left high", "wanted 6.50°", "230 mm digital level", "bob@example.org", "under 1"):
        assert words in page, words
    assert page.count('class="figure bar-picture"') == 3


def test_a_mark_stands_on_each_quantity_by_itself(taproom: TernTaproom, as_member: SignIn) -> None:
    """Pitch half a degree off with a tolerance of 0.2 is out; roll is level, so its mark stays in."""
    survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument,
        readings=[along(6.0, spot="middle"), across(0, "level", spot="lower_centre")],
    )  # fmt: skip
    answer = as_member(taproom.people.bob).get(reverse("machine", args=[taproom.machine.pk]))
    marks = {bar.kind: bar.verdict for bar in answer.context["seen"].bars}
    assert marks == {"pitch": "out", "roll": "in", "gap": "in"}


def test_the_gap_names_its_foot(taproom: TernTaproom, as_member: SignIn) -> None:
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, stance="FR",
              gap_text="1.2", gap_unit="mm", gap=1.2)  # fmt: skip
    assert "1.2\u00a0mm under\u00a0FR" in page_of(taproom, as_member(taproom.people.bob))


def test_an_unchecked_stance_has_no_gap(taproom: TernTaproom, as_member: SignIn) -> None:
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, stance="unknown")
    answer = as_member(taproom.people.bob).get(reverse("machine", args=[taproom.machine.pk]))
    gap = answer.context["seen"].bars[2]
    assert (gap.value, gap.verdict) == (None, "not_measured")


def test_the_history_appears_with_the_first_survey_and_its_forecast(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert "Pitch over time" not in page_of(taproom, bob)
    assert taproom.survey
    assert "Pitch in 1 survey from 4 May 2026 to 4 May 2026" in page_of(taproom, bob)
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument,
              at=NOON + datetime.timedelta(days=30))  # fmt: skip
    page = page_of(taproom, bob)
    assert "Pitch over time" in page
    assert "Pitch in 2 surveys from 4 May 2026 to 3 Jun 2026" in page


def test_unknown_exposures_say_what_follows(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert "cannot promise" not in page_of(taproom, bob)
    Leg.objects.filter(machine=taproom.machine, place=2).update(exposure_mm=None)
    page = page_of(taproom, bob)
    assert "RL: nobody has measured how far it is out." in page
    assert "cannot promise that the levelers reach" in page


def test_days_are_the_sites_days(taproom: TernTaproom, as_member: SignIn) -> None:
    """Noon in Greenwich is the next day in Kiritimati, UTC+14 (IANA time zone database)."""
    taproom.site.time_zone = "Pacific/Kiritimati"
    taproom.site.save()
    assert taproom.survey
    assert "Surveyed Tue\u00a05\u00a0May\u00a02026" in page_of(taproom, as_member(taproom.people.bob))


def test_lengths_and_slopes_follow_the_organizations_units(taproom: TernTaproom, as_member: SignIn) -> None:
    organization = taproom.people.alice.organization
    organization.angle_unit, organization.length_unit = "mm_per_m", "in"
    organization.save()
    page = page_of(taproom, as_member(taproom.people.bob))
    assert "113.9\u00a0mm/m" in page  # tan 6.5 degrees
    assert "22.05\u00a0in" in page  # 560 mm / 25.4


def test_a_viewer_finds_no_button(taproom: TernTaproom, as_member: SignIn) -> None:
    page = page_of(taproom, as_member(taproom.people.vera))
    for name in ("survey_new", "plan_new", "machine_edit", "machine_legs", "machine_spec", "machine_move"):
        assert reverse(name, args=[taproom.machine.pk]) not in page


def test_it_asks_as_often_for_one_survey_as_for_ten(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert taproom.plan
    asked = []
    for days in (range(1, 2), range(2, 11)):
        for day in days:
            at = NOON + datetime.timedelta(days=day)
            survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=at)
        page_of(taproom, bob)
        with CaptureQueriesContext(connection) as queries:
            page_of(taproom, bob)
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 15


def test_legs_turned_since_the_survey_are_told_above_its_numbers(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    plan = taproom.plan
    assert "Legs were turned since its survey" not in page_of(taproom, bob)
    bob.post(reverse("plan_turned", args=[plan.pk]), {"lift": 1, "as_shown": "on"})
    page = page_of(taproom, bob)
    assert page.index("Legs were turned since its survey") < page.index("Now</h2>")


def first_button(page: str) -> str:
    """The words on the one primary button."""
    found = re.findall(r'(?:<a class="button" [^>]*|<button type="submit")>([^<]*)</', page)
    assert len(found) == 1
    return found[0]


def test_the_first_button_follows_the_verdict(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert first_button(page_of(taproom, bob)) == "Survey now"  # never surveyed
    assert taproom.survey.verdict == "out"
    page = page_of(taproom, bob)
    assert first_button(page) == "Work out the turns"
    assert page.index("Out of spec") < page.index('<button type="submit"') < page.index("bars-large")
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=NOON + datetime.timedelta(1))
    assert first_button(page_of(taproom, bob)) == "Survey now"  # in spec


def test_how_do_we_know_opens_the_arithmetic_of_the_newest_survey(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert "How do we know?" not in page_of(taproom, bob)
    assert taproom.survey
    page = page_of(taproom, bob)
    how = page.split("<summary>How do we know?</summary>")[1]
    survey_page = bob.get(reverse("survey", args=[taproom.survey.pk])).content.decode()
    chances = re.findall(r"√\([^<]*", survey_page)
    assert len(chances) == 2
    for words in (*chances, "Along the board, middle: <b>6°</b> rear high", "never checked", "by the daily rule"):
        assert words in how, words
    assert reverse("survey", args=[taproom.survey.pk]) in how
    assert "The spec changed since this survey" not in how


def test_a_spec_set_since_is_told_beside_the_arithmetic(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert taproom.survey
    typed = {"pitch_deg": "6", "pitch_tolerance_deg": "0.3", "roll_tolerance_deg": "0.4", "gap_tolerance_mm": "0.5",
             "why": "Faster", "version": "1"}  # fmt: skip
    assert bob.post(reverse("machine_spec", args=[taproom.machine.pk]), typed).status_code == 302
    assert "The spec changed since this survey" in page_of(taproom, bob)


def test_the_table_beside_the_history_holds_every_survey(taproom: TernTaproom, as_member: SignIn) -> None:
    made = [
        survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument,
                  at=NOON + datetime.timedelta(days=day))
        for day in range(8)
    ]  # fmt: skip
    page = page_of(taproom, as_member(taproom.people.bob))
    table = page.split("All 8 surveys, forecast as a table")[1].split("</table>")[1]
    for survey in made:
        assert reverse("survey", args=[survey.pk]) in table
    assert table.index("Mon\u00a011\u00a0May\u00a02026") < table.index("Mon\u00a04\u00a0May\u00a02026")


def test_a_gap_alone_does_not_mark_pitch_and_roll(taproom: TernTaproom, as_member: SignIn) -> None:
    """2026-11-25: a machine out by its gap stood as a diamond in the middle of the box of its spec."""
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, stance="FR",
              gap_text="1.5", gap_unit="mm", gap=1.5,
              readings=[along(6.5, spot="middle"), across(0.08, "right", spot="lower_centre")])  # fmt: skip
    seen = as_member(taproom.people.bob).get(reverse("machine", args=[taproom.machine.pk])).context["seen"]
    assert [bar.verdict for bar in seen.bars][2] == "out"
    assert seen.survey.verdict == "out"
    assert seen.points[-1][3] == seen.bars[0].verdict == "in"
    assert seen.spots[-1][4] in ("in", "borderline")


def test_a_plan_in_hand_is_the_first_button(taproom: TernTaproom, as_member: SignIn) -> None:
    """2026-11-25: "Leg plan" led someone in the middle of the work to the form of a new plan."""
    bob = as_member(taproom.people.bob)
    assert "Go on with the leg plan" not in page_of(taproom, bob)
    plan = taproom.plan
    button = f'<a class="button" href="{reverse("plan", args=[plan.pk])}">Go on with the leg plan</a>'
    assert button in page_of(taproom, bob)
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=NOON + datetime.timedelta(1))
    assert "Go on with the leg plan" not in page_of(taproom, bob)  # it is in spec by a newer survey


def test_it_says_when_to_come_back(taproom: TernTaproom, as_member: SignIn) -> None:
    """What is out is due now; once read in the middle, on a day to come; a reader sees it too."""
    survey = taproom.survey
    assert survey.verdict == "out"
    card = re.compile(r"When to come back.*?</section>", re.DOTALL)
    bob = as_member(taproom.people.bob)
    found = card.search(page_of(taproom, bob))
    assert found
    assert "<b>Now</b>" in found[0]
    assert "was last seen beyond its limit" in found[0]
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=timezone.now())
    for member in (taproom.people.bob, taproom.people.vera):
        found = card.search(page_of(taproom, as_member(member)))
        assert found
        assert re.search(r"By <b>\w{3}\s\d+\s\w{3}\s\d{4}</b>", found[0])
        assert "common practice, no source" in found[0]


def test_no_day_where_no_survey_saw_it_as_it_stands(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert "When to come back" not in page_of(taproom, bob)
    record_turns(by=author(taproom.people.bob, NOON + datetime.timedelta(hours=1)), plan=taproom.plan, lift=1)
    assert "When to come back" not in page_of(taproom, bob)
