"""A machine that teaches: its true base, tracks and thread are known, and it stands as the simulator says."""

import datetime
from collections.abc import Sequence
from typing import Any

import numpy as np

from collection import models
from collection.actions.plans import make_plan, record_turns
from leveling.contact import load_point
from leveling.frame import LEGS, foot_positions
from leveling.simulate import Machines, Stood, stand, turned
from tests.factories import NOON, InstrumentFactory
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

#: A level that shows 0.01 degree, and its owner's care.
FINE = {"resolution_deg": 0.01, "accuracy_deg": 0.05, "alignment_deg": 0.1, "repeat_deg": 0.01}


class Pupil:
    """A machine believed to be 1300 by 560 mm on 3/8-16 UNC, and what it truly is; Lantern Reef if none is given."""

    def __init__(
        self,
        taproom: TernTaproom,
        *,
        machine: models.Machine | None = None,
        base_mm: float = 1300,
        track_mm: float = 560,
        lead_mm: float = 1.5875,
    ) -> None:
        self.world, self.machine, self.at = taproom, machine or taproom.machine, NOON
        self.level = taproom.instrument if machine is None else InstrumentFactory(member=taproom.people.alice)
        models.Instrument.objects.filter(pk=self.level.pk).update(**FINE)
        self.level.refresh_from_db()
        self.machine.legs.update(exposure_mm=None)
        feet = foot_positions(track_front_mm=track_mm, track_rear_mm=track_mm, base_mm=base_mm)[None]
        zeros = np.zeros((1, 4))
        self.truth = Machines(
            feet_mm=feet, leg_mm=zeros, exposure_mm=zeros, lead_mm=np.array([lead_mm]), offset_pitch_deg=np.zeros(1),
            offset_roll_deg=np.zeros(1), load_mm=load_point(feet), compression_mm=np.zeros(1),
        )  # fmt: skip
        self.floor_mm = zeros

    def set_down(self, pitch_deg: float, roll_deg: float) -> None:
        """Stand it where it reads so."""
        exposed, feet = self.truth.exposure_mm, self.truth.feet_mm
        self.floor_mm = np.tan(np.radians(roll_deg)) * feet[..., 0] + np.tan(np.radians(pitch_deg)) * feet[..., 1]
        self.floor_mm = self.floor_mm - exposed

    @property
    def stood(self) -> Stood:
        """How it stands."""
        return stand(self.truth, self.floor_mm)

    def survey(self, plan: models.Plan | None = None, **more: Any) -> models.Survey:
        """Read it by reversed pairs, and the gap with blades."""
        stood, self.at = self.stood, self.at + datetime.timedelta(minutes=20)
        pitch, roll, gap = (float(number[0]) for number in (stood.pitch_deg, stood.roll_deg, stood.gap_mm))
        side = "right" if roll > 0 else "left"
        readings = [
            along(round(pitch, 2), spot="middle", turned_value=round(pitch, 2)),
            across(round(abs(roll), 2), side, spot="lower_centre", turned_value=round(abs(roll), 2)),
        ]
        feet = {"stance": "all_bearing"}
        if gap > 0.15:
            feet = {"stance": LEGS[int(stood.light[0])], "gap": round(gap, 2), "gap_text": f"{gap:.2f}"}
        by = self.world.people.bob
        seen: dict[str, Any] = {"readings": readings, "plan": plan, **feet, **more}
        return survey_of(self.machine, by=by, instrument=self.level, at=self.at, **seen)

    def plan(self) -> models.Plan:
        """Make a leg plan from the newest survey."""
        self.at += datetime.timedelta(minutes=5)
        plan = make_plan(by=author(self.world.people.bob, self.at), machine=self.machine, source="survey")
        self.machine.refresh_from_db()
        return plan

    def work(self, plan: models.Plan, truly: Sequence[float] | None = None) -> None:
        """Turn the legs as the plan says, or truly otherwise; the record holds what the plan said."""
        self.turn(planned_turns(plan) if truly is None else truly)
        for number in range(1, len(plan.answer["lifts"]) + 1):
            self.at += datetime.timedelta(minutes=5)
            plan = record_turns(by=author(self.world.people.bob, self.at), plan=plan, lift=number)
        self.machine.refresh_from_db()

    def turn(self, turns: Sequence[float]) -> None:
        """Turn its levelers, in leg order, out positive; the record knows nothing of it."""
        self.truth = turned(self.truth, np.array([turns]))

    def set_up(self, pitch_deg: float = 4.5, roll_deg: float = -0.8) -> tuple[models.Plan, models.Survey]:
        """Set it down there, survey it, plan, turn and survey it again."""
        self.set_down(pitch_deg, roll_deg)
        self.survey()
        plan = self.plan()
        self.work(plan)
        return plan, self.survey(plan)


def planned_turns(plan: models.Plan) -> list[float]:
    """Return the turns of a plan in leg order, out positive."""
    return [leg["steps"] / leg["steps_per_turn"] for leg in plan.answer["legs"]]
