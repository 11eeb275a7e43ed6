"""A machine teaches us: survey, leg plan, turned, check reading; what the pages say of it, and the next plan."""

import re
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from collection import models
from tests.surveying import sent
from tests.teaching import Pupil, planned_turns
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


def text_of(html: str) -> str:
    """Text with plain spaces."""
    html = re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", html)).replace("\u00a0", " ")


def words(client: Client, name: str, pk: object) -> str:
    return text_of(client.get(reverse(name, args=[pk])).content.decode())


def test_from_a_survey_to_the_next_plan_by_the_pages_alone(taproom: TernTaproom, bob: Client) -> None:
    """A base of 1235 mm, believed 1300, pitches 5.3 % more; typed as a level of 0.1 degree shows it."""
    pupil = Pupil(taproom, base_mm=1235)
    machine = pupil.machine
    for number in range(2):
        pupil.set_down(4.0, -1.0)
        check: dict[str, str] = {}
        for step in ("survey", "check"):
            stood = pupil.stood
            rows = [("along", f"{stood.pitch_deg[0]:.2f}", "rear"), ("across", f"{abs(stood.roll_deg[0]):.2f}", "left")]
            answer = bob.post(reverse("survey_new", args=[machine.pk]), sent(taproom.instrument.pk, *rows, **check))
            assert answer.status_code == 302, step
            survey = models.Survey.objects.latest("created_at")
            if step == "check":
                break
            assert bob.post(reverse("plan_new", args=[machine.pk]), typed_plan()).status_code == 302
            plan = models.Plan.objects.latest("created_at")
            for lift in range(1, len(plan.answer["lifts"]) + 1):
                done = bob.post(reverse("plan_turned", args=[plan.pk]), {"lift": lift, "as_shown": "on"})
                assert done.status_code == 302
            pupil.turn(planned_turns(plan))
            check = {"plan": str(plan.pk)}
        for page in (words(bob, "survey", survey.pk), words(bob, "plan", plan.pk)):
            assert "The machine answered as its legs were turned. The next leg plan counts on what it taught." in page
        counts_on_it = "the plan counts on that (learned from 1 set-up)" in words(bob, "plan", plan.pk)
        assert counts_on_it == (number == 1)
    assert re.search(r"This machine answers [1-6] % more to pitch", words(bob, "plan", plan.pk))
    page = words(bob, "machine", machine.pk)
    assert "How it answers to turns" in page
    assert re.search(r"Pitch per turn[1-6] % more than its measures say ± \d\.\d %", page)
    assert "Learned from2 set-ups" in page


def typed_plan() -> dict[str, str]:
    return {
        "source": "survey", "front_reachable": "on", "rear_reachable": "on", "steps_per_turn": "4",
        "even_if_in_spec": "on",
    }  # fmt: skip


def wrong_foot(taproom: TernTaproom, **seen: str) -> tuple[models.Plan, models.Survey]:
    """The plan's turns made left for right."""
    pupil = Pupil(taproom)
    pupil.set_down(5.9, -0.8)
    pupil.survey()
    plan = pupil.plan()
    front_left, front_right, rear_left, rear_right = planned_turns(plan)
    pupil.work(plan, [front_right, front_left, rear_right, rear_left])
    return plan, pupil.survey(plan, **seen)


def test_a_wrong_foot_is_told_with_what_else_it_may_be_and_not_learned(taproom: TernTaproom, bob: Client) -> None:
    plan, after = wrong_foot(taproom)
    for page in (words(bob, "survey", after.pk), words(bob, "plan", plan.pk)):
        assert "It looks as if" in page
        assert "Not learned from." in page
        assert "Look at the feet, and count again how far each leveler is out." in page
        assert "Press down on each corner again." in page
        assert "What it looks like" in page
    assert "Nothing learned yet: its leg plans go by its measures." in words(bob, "machine", plan.machine_id)
    bob.post(reverse("plan_new", args=[plan.machine_id]), typed_plan())
    assert "response" not in models.Plan.objects.latest("created_at").inputs


def test_the_pages_ask_for_the_feet_where_nobody_looked(taproom: TernTaproom, bob: Client) -> None:
    _, after = wrong_foot(taproom, stance="unknown", gap=0, gap_text="")
    assert "Press down on each corner and note the gap: nobody checked the feet." in words(bob, "survey", after.pk)


def test_a_reader_is_told_and_offered_nothing(taproom: TernTaproom, as_member: SignIn) -> None:
    _, after = wrong_foot(taproom)
    html = as_member(taproom.people.vera).get(reverse("survey", args=[after.pk])).content.decode()
    assert "Not learned from." in html
    assert reverse("machine_legs", args=[taproom.machine.pk]) not in html


def test_the_other_thread_is_named_with_a_way_to_mend_it(taproom: TernTaproom, bob: Client) -> None:
    pupil = Pupil(taproom, lead_mm=1.5)
    for _ in range(3):
        pupil.set_up(4.5, -1.5)
    page = words(bob, "machine", pupil.machine.pk)
    assert "Its levelers may be M10x1.5, not 3/8-16 UNC (chance" in page
    assert (
        reverse("machine_edit", args=[pupil.machine.pk])
        in bob.get(reverse("machine", args=[pupil.machine.pk])).content.decode()
    )
    models.Machine.objects.filter(pk=pupil.machine.pk).update(lead_mm=1.5)
    assert "How it answers to turns" not in words(bob, "machine", pupil.machine.pk)  # other levelers teach anew


def test_a_machine_moved_between_teaches_nothing(taproom: TernTaproom, bob: Client) -> None:
    plan, after = Pupil(taproom).set_up()
    middle = plan.survey.measured_at + (after.measured_at - plan.survey.measured_at) / 2
    stamp = {"organization": plan.organization, "created_by": plan.created_by, "created_at": middle}
    models.Standing.objects.create(machine=plan.machine, bay=None, **stamp)
    assert 'id="finding"' not in bob.get(reverse("survey", args=[after.pk])).content.decode()


def test_a_corrected_check_reading_speaks_for_itself(taproom: TernTaproom, bob: Client) -> None:
    """What the first one said of the turns is gone with it."""
    plan, after = Pupil(taproom).set_up()
    first = sent(taproom.instrument.pk, ("along", "6.5", "rear"), ("across", "0", "level"), why="Misread.")
    assert bob.post(reverse("survey_correct", args=[after.pk]), first).status_code == 302
    made = models.Survey.objects.get(supersedes=after)
    assert 'id="finding"' in bob.get(reverse("survey", args=[made.pk])).content.decode()
    assert 'id="finding"' not in bob.get(reverse("survey", args=[after.pk])).content.decode()
    assert 'id="finding"' in bob.get(reverse("plan", args=[plan.pk])).content.decode()


def test_it_asks_as_often_however_much_a_machine_taught(taproom: TernTaproom, bob: Client) -> None:
    from_start = []
    pupil = Pupil(taproom)
    for _ in range(2):
        plan, after = pupil.set_up()
        counts = []
        for name, pk in (("plan", plan.pk), ("survey", after.pk), ("machine", pupil.machine.pk)):
            bob.get(reverse(name, args=[pk]))
            with CaptureQueriesContext(connection) as asked:
                bob.get(reverse(name, args=[pk]))
            counts.append(len(asked))
        from_start.append(counts)
    assert from_start[0] == from_start[1]
    assert max(from_start[0]) <= 15
