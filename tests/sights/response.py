"""What is made of turns: a machine that taught, its next plan, turns left for right, a foot on a cable."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from django.urls import reverse

from collection import models
from tests import factories as make
from tests.sights.pages import Sight
from tests.teaching import Pupil, planned_turns
from tests.worlds import TernTaproom


def taught(world: TernTaproom) -> Iterator[Sight]:
    """Yield the pages of three machines after their turns, and a plan that counts on what was learned."""
    good = _pupil(world, "Tin Kettle", base_mm=1235)
    good.set_up()
    plan, after = good.set_up()
    yield from _pages(world, "learned", plan, after)
    good.set_down(5.6, 0.4)
    good.survey()
    yield Sight("plan", "counts-on-it", world.people.alice.user, reverse("plan", args=[good.plan().pk]))
    yield from _pages(world, "wrong-foot", *_left_for_right(world))
    yield from _pages(world, "cable", *_on_a_cable(world))


def _pages(world: TernTaproom, state: str, plan: models.Plan, after: models.Survey) -> Iterator[Sight]:
    who = world.people.alice.user
    for page, pk in (("survey", after.pk), ("plan", plan.pk), ("machine", plan.machine_id)):
        sight = Sight(page, state, who, reverse(page, args=[pk]))
        yield sight
        if page == "survey":
            yield replace(sight, state=f"{state}-open", opened=True)


def _pupil(world: TernTaproom, title: str, **truth: float) -> Pupil:
    machine = make.MachineFactory(member=world.people.alice, title=title, bay__floor=world.floor)
    return Pupil(world, machine=machine, **truth)  # type: ignore[arg-type]


def _left_for_right(world: TernTaproom) -> tuple[models.Plan, models.Survey]:
    pupil = _pupil(world, "Paper Lighthouse")
    pupil.set_down(5.9, -0.8)
    pupil.survey()
    plan = pupil.plan()
    front_left, front_right, rear_left, rear_right = planned_turns(plan)
    pupil.work(plan, [front_right, front_left, rear_right, rear_left])
    return plan, pupil.survey(plan)


def _on_a_cable(world: TernTaproom) -> tuple[models.Plan, models.Survey]:
    """Nobody looked at the feet afterwards."""
    pupil = _pupil(world, "Marsh Weather")
    pupil.set_down(5.9, 0.0)
    pupil.survey()
    plan = pupil.plan()
    pupil.work(plan)
    pupil.floor_mm = pupil.floor_mm + np.array([[0, 0, 0, 6.5]])
    return plan, pupil.survey(plan, stance="unknown", gap=0, gap_text="")
