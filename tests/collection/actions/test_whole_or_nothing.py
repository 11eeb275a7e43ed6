"""An error in the middle of a write leaves nothing behind; clocks and moves that would make an old reading look new."""

import datetime
from typing import Any

import pytest
from django.db import models as django_models
from django.db import transaction
from django.test import Client
from django.urls import reverse

from collection import models
from collection.actions.machines import move_machine
from collection.actions.plans import make_plan, record_turns, set_aside
from collection.actions.record import ActionRefused
from collection.actions.surveys import correct_survey
from tests import factories as make
from tests.collection.forms.test_hostile_posts import fields_of
from tests.collection.views.test_sent_twice import ADDING, EDITING
from tests.factories import NOON
from tests.surveying import across, along, author, sent, survey_of
from tests.worlds import TernTaproom

TABLES: tuple[Any, ...] = (
    models.Site, models.Floor, models.Bay, models.FloorSlope, models.FloorReading, models.Instrument,
    models.ZeroCheck, models.InstrumentEvent, models.Machine, models.Leg, models.Spec, models.Standing,
    models.MachineStatus, models.Survey, models.Reading, models.Plan, models.PlanLeg, models.Adjustment,
    models.Change, models.Organization, models.Membership, models.VialPair, models.QuickCheck, models.Invitation,
    models.ReportLink, models.Report,
)  # fmt: skip
PAIR = {"shown": "6.8", "high_end": "rear", "unit": "", "lines": "0.5", "side": "rear"}
GLASS = {"place": "glass", "pitch": "5.3", "pitch_high": "rear", "roll": "0", "roll_high": "", "unit": ""}
FIRST = {"version": "1"}
MINUTE, HOUR = datetime.timedelta(minutes=1), datetime.timedelta(hours=1)


def everything() -> list[list[dict[str, Any]]]:
    return [list(table.objects.order_by("pk").values()) for table in TABLES]


class PlantedError(Exception):
    """The n-th write of a request fails."""


@pytest.fixture
def alice(taproom: TernTaproom) -> Client:
    assert all((taproom.plan, taproom.vial_pair, taproom.pair))
    client = Client(raise_request_exception=False)
    client.force_login(taproom.people.alice.user)
    return client


def posts(taproom: TernTaproom, client: Client) -> list[tuple[str, dict[str, Any]]]:
    """One good sending of every page that writes."""
    made = [
        (reverse(name, args=[getattr(taproom, noun).pk] if noun else []), dict(typed))
        for name, noun, typed, _, _ in ADDING
    ]
    for name, noun, field, first, _ in EDITING:
        url = reverse(name, args=[getattr(taproom, noun).pk] if noun else [])
        made.append((url, fields_of(client.get(url).content.decode()).sent | {field: first, "why": "Tried."}))
    machine, plan = taproom.machine.pk, taproom.plan.pk
    free = make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
    rows = (("along", "6.5", "rear"), ("across", "0.1", "left"))
    made += [
        (reverse("survey_new", args=[machine]), sent(taproom.instrument.pk, *rows)),
        (reverse("survey_correct", args=[taproom.survey.pk]), sent(taproom.instrument.pk, *rows, why="Wrong end.")),
        (reverse("plan_turned", args=[plan]), {"lift": "1", "as_shown": "on"}),
        (reverse("plan_set_aside", args=[plan]), {"why": "Sold."}),
        (reverse("machine_move", args=[machine]), {"bay": str(free.pk), "version": "1"}),
        (reverse("vial_new", args=[machine]), {"name": "Its other vial", "direction": "across", "reach_lines": "2"}),
        (reverse("vial_pair_new", args=[taproom.vial.pk]), PAIR | {"level": str(taproom.instrument.pk)}),
        (reverse("vial_pair_leave_out", args=[taproom.vial_pair.pk]), {"why": "Leaned on it."}),
        (reverse("quick_check_new", args=[machine]), GLASS | {"instrument": str(taproom.instrument.pk)}),
    ]
    colleague, invitation = taproom.colleague.pk, taproom.invitation.pk
    made += [
        (reverse("colleague_edit", args=[colleague]), {"role": "viewer", "sites": [str(taproom.site.pk)]} | FIRST),
        (reverse("colleague_end", args=[colleague]), {"why": "Moved."} | FIRST),
        (reverse("colleague_hand_over", args=[colleague]), {"sure": "on"} | FIRST),
        (reverse("invitation_new"), {"email": "linnet@example.org", "role": "technician"}),
        (reverse("invitation_send", args=[invitation]), FIRST),
        (reverse("invitation_withdraw", args=[invitation]), FIRST),
        (reverse("machine_label", args=[machine]), {"replaces": str(taproom.report_link.pk)}),
        (reverse("report_close", args=[taproom.report.pk]), {"why": "A guest leaned on it."}),
    ]
    return made


def test_an_error_at_any_write_of_any_page_saves_nothing(
    alice: Client, taproom: TernTaproom, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first, second, third ... write of our tables fails, for every page that writes."""
    count, fail_at = [0], [0]

    def counting(real: Any) -> Any:
        def write(self: Any, *args: Any, **kwargs: Any) -> Any:
            model = self.model if isinstance(self, django_models.QuerySet) else type(self)
            if model._meta.app_label == "collection":
                count[0] += 1
                if count[0] == fail_at[0]:
                    raise PlantedError
            return real(self, *args, **kwargs)

        return write

    monkeypatch.setattr(django_models.Model, "save", counting(django_models.Model.save))
    for name in ("update", "bulk_create"):
        monkeypatch.setattr(django_models.QuerySet, name, counting(getattr(django_models.QuerySet, name)))
    pages, broken = posts(taproom, alice), 0
    for url, page in pages:
        with transaction.atomic():
            before = everything()
            for number in range(1, 60):
                count[0], fail_at[0] = 0, number
                answer = alice.post(url, page)
                if answer.status_code != 500:
                    break
                broken += 1
                assert everything() == before, (url, number)
            assert answer.status_code == 302, (url, number, answer.status_code)
            assert number > 1, url
            transaction.set_rollback(True)  # each page starts from the same world
    assert broken > 75


def test_a_machine_moved_away_and_back_needs_a_new_survey(taproom: TernTaproom) -> None:
    """The feet do not stand where they stood, though the bay is the same."""
    survey, home = taproom.survey, taproom.bay.pk
    plan = taproom.plan
    away = make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
    for hours, bay in ((1, away.pk), (2, home)):
        taproom.machine.refresh_from_db()
        by = author(taproom.people.bob, NOON + hours * HOUR)
        move_machine(by=by, machine=taproom.machine, version=taproom.machine.version, bay=bay, why="")
    later = author(taproom.people.bob, NOON + 3 * HOUR)
    with pytest.raises(ActionRefused, match="moved after this plan"):
        record_turns(by=later, plan=plan, lift=1)
    with pytest.raises(ActionRefused, match="moved after its newest survey"):
        make_plan(by=author(taproom.people.bob, NOON + 3 * HOUR), machine=taproom.machine, source="survey")
    status = models.MachineStatus.objects.get(machine=taproom.machine)
    assert (status.survey, status.verdict) == (survey, "borderline")


def test_turns_make_an_open_page_of_the_legs_stale(taproom: TernTaproom, alice: Client) -> None:
    """Alice opened the legs, Bob turned one: her page must not put the old exposure back."""
    url = reverse("machine_legs", args=[taproom.machine.pk])
    page = fields_of(alice.get(url).content.decode()).sent
    record_turns(by=author(taproom.people.bob, NOON + HOUR), plan=taproom.plan, lift=1)
    turned = list(taproom.machine.legs.order_by("place").values_list("exposure_mm", flat=True))
    told = alice.post(url, page | {"FL_pad_mm": "3"})
    assert told.status_code == 409
    assert list(taproom.machine.legs.order_by("place").values_list("exposure_mm", flat=True)) == turned


def test_a_clock_that_runs_ahead_does_not_hide_turns(taproom: TernTaproom) -> None:
    """Dated 8 minutes ahead, then turned 5 minutes later: the survey is older than the turns all the same."""
    survey = survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, measured_at=NOON + 8 * MINUTE,
        readings=[along(6.0, spot="middle"), across(0.3, "left", spot="lower_centre")],
    )  # fmt: skip
    assert survey.measured_at == NOON
    plan = make_plan(by=author(taproom.people.bob, NOON + MINUTE), machine=taproom.machine, source="survey")
    record_turns(by=author(taproom.people.bob, NOON + 5 * MINUTE), plan=plan, lift=1)
    with pytest.raises(ActionRefused, match="Legs were turned after"):
        make_plan(by=author(taproom.people.bob, NOON + 6 * MINUTE), machine=taproom.machine, source="survey")
    with pytest.raises(ActionRefused, match="still to come"):
        survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, measured_at=NOON + 11 * MINUTE)


@pytest.mark.parametrize(
    ("typed", "status"),
    [
        ("2026-03-29T01:30", 422),  # in Dublin the clock went from 1:00 to 2:00
        ("2025-10-26T01:30", 422),  # there were two of them
        ("2026-03-29T02:30", 302),
        ("1999-12-31T12:00", 422),
        ("2101-01-01T12:00", 422),
        ("9999-12-31T23:59", 422),
        ("0001-01-01T00:00", 422),
        ("2026-02-30T12:00", 422),
        ("2026-05-04T12:30+02:00", 302),  # with its offset it is clear
        ("1714824000", 422),
        ("", 302),
    ],
)
def test_times_at_the_site_are_read_in_its_zone_or_refused(
    alice: Client, taproom: TernTaproom, typed: str, status: int
) -> None:
    models.Site.objects.update(time_zone="Europe/Dublin")
    url = reverse("survey_new", args=[taproom.machine.pk])
    rows = (("along", "6.5", "rear"), ("across", "0.1", "left"))
    answer = alice.post(url, sent(taproom.instrument.pk, *rows, measured_at=typed))
    assert answer.status_code == status
    if typed.startswith("2026-03-29T02:30"):
        made = models.Survey.objects.get(pk=answer.url.split("/")[2])
        assert made.measured_at == datetime.datetime(2026, 3, 29, 1, 30, tzinfo=datetime.UTC)


def test_a_correction_of_a_correction_and_of_a_corrected_one(taproom: TernTaproom) -> None:
    first, rows = taproom.survey, [along(6.2, spot="middle"), across(0.1, "left", spot="lower_centre")]
    how: dict[str, Any] = {"instrument": taproom.instrument, "stance": "all_bearing", "readings": rows}
    second = correct_survey(by=author(taproom.people.bob, NOON + HOUR, why="Wrong end."), survey=first, **how)
    third = correct_survey(by=author(taproom.people.bob, NOON + 2 * HOUR, why="Again."), survey=second, **how)
    for old in (first, second):
        with pytest.raises(ActionRefused, match="corrected before"):
            correct_survey(by=author(taproom.people.bob, NOON + 3 * HOUR, why="Late."), survey=old, **how)
    assert models.MachineStatus.objects.get(machine=taproom.machine).survey == third
    assert {first.measured_at, second.measured_at, third.measured_at} == {NOON}


def test_turns_after_the_end_of_a_plan_are_refused(taproom: TernTaproom) -> None:
    plan = taproom.plan
    set_aside(by=author(taproom.people.bob, NOON + HOUR, why="Sold."), plan=plan)
    before = everything()
    for lift in (1, 2):
        with pytest.raises(ActionRefused):
            record_turns(by=author(taproom.people.bob, NOON + 2 * HOUR), plan=plan, lift=lift)
    assert everything() == before
