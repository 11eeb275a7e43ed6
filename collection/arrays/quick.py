"""Quick answer: a few typed numbers through the same steps as a survey and its leg plan, with nothing stored.

typed -> two readings of a usual level -> survey -> leg plan. The rows made here are never saved: they carry the
numbers into the steps that stored rows take, so that a quick answer and a leg plan cannot differ.
"""

import datetime
from dataclasses import dataclass

import numpy as np

from collection import presets
from collection.arrays import plans, surveys
from collection.arrays.plans_answers import answers_to
from collection.arrays.surveys_means import Means
from collection.arrays.surveys_results import Assessment
from collection.models import Instrument, Leg, Machine, Plan, Spec, Survey
from collection.models.machines import LEGS
from leveling.frame import foot_positions, plane_response

#: No zero check is known, so it does not matter when it was read.
_WHENEVER = datetime.datetime.min


@dataclass(frozen=True)
class Asked:
    """What someone asks: how it stands now, what is wanted, how it is built, how the work is done.

    Slopes are in degrees; ``roll_deg`` is positive where the right side is higher.
    """

    pitch_deg: float
    roll_deg: float
    want_deg: float
    era: str
    body: str
    track_front_mm: float
    track_rear_mm: float
    base_mm: float
    lead_mm: float
    steps_per_turn: int
    ends: str
    front_in: bool
    stance: str
    gap_mm: float
    pitch_tolerance_deg: float
    roll_tolerance_deg: float
    gap_tolerance_mm: float
    closer: bool


@dataclass(frozen=True)
class Working:
    """The arithmetic behind the turns: the cabinet's own pitch, what lacks, and what one full turn changes [degree].

    ``pitch_turn_deg`` is of both rear levelers, ``roll_turn_deg`` of one front leveler with all four feet bearing.
    """

    cabinet_deg: float
    pitch_lack_deg: float
    pitch_turn_deg: float
    roll_lack_deg: float
    roll_turn_deg: float

    @property
    def is_too_steep(self) -> bool:
        """Whether the rear has to come down against the front."""
        return self.pitch_lack_deg < 0

    @property
    def pitch_lack_size(self) -> float:
        """How much pitch is off, too steep or too flat [degree]."""
        return abs(self.pitch_lack_deg)

    @property
    def pitch_turns_size(self) -> float:
        """Turns of both levelers of one end that pitch alone would take."""
        return self.pitch_lack_size / self.pitch_turn_deg

    @property
    def roll_lack_size(self) -> float:
        """How much roll lacks to either side [degree]."""
        return abs(self.roll_lack_deg)

    @property
    def roll_turns_size(self) -> float:
        """Turns of single levelers that roll alone would take, whichever way."""
        return self.roll_lack_size / self.roll_turn_deg


@dataclass(frozen=True, eq=False)
class QuickFound:
    """A leg plan that is not saved, what the two readings say, and the arithmetic."""

    plan: Plan
    assessment: Assessment
    working: Working


def quick_found(asked: Asked) -> QuickFound:
    """Return the leg plan for what someone asks, by the same engine as every leg plan.

    Raises BadInput if no machine stands like that.
    """
    machine, spec = _machine(asked), _spec(asked)
    seen = surveys.inputs_of(
        machine=machine, along=Means(usual_level()), measured_at=_WHENEVER, stance=asked.stance, gap=asked.gap_mm,
        gap_unit="mm",
    )  # fmt: skip
    assessment = surveys.assess(readings=surveys.readings_of(_readings(asked), seen), inputs=seen, spec=spec)
    if assessment is None:
        raise ValueError("two readings, and nothing read")
    survey = Survey(
        stance=asked.stance, light_foot=assessment.light, gap_mm=assessment.gap_mm, inputs=seen, **assessment.columns
    )
    rows = plans.PlanRows(machine=machine, legs=_legs(asked), spec=spec, survey=survey)
    inputs = plans.inputs_of(rows=rows, work=_work(asked))
    answer = answers_to([inputs])[0]
    plan = Plan(source="survey", state="open", outcome=answer["outcome"], inputs=inputs, answer=answer)
    return QuickFound(plan=plan, assessment=assessment, working=_working(asked, assessment))


def usual_level() -> Instrument:
    """Return a plain digital level, as the presets have it; not saved."""
    return Instrument(
        resolution_deg=presets.RESOLUTION_DEG,
        accuracy_deg=presets.ACCURACY_DEG,
        alignment_deg=presets.ALIGNMENT_DEG,
        repeat_deg=presets.REPEAT_DEG,
        base_mm=presets.BASE_MM,
    )


def _machine(asked: Asked) -> Machine:
    return Machine(
        track_front_mm=asked.track_front_mm,
        track_rear_mm=asked.track_rear_mm,
        base_mm=asked.base_mm,
        lead_mm=asked.lead_mm,
        pitch_offset_deg=presets.ERAS[asked.era].pitch_offset_deg,
        u_pitch_offset_deg=presets.U_PITCH_OFFSET_DEG,
        u_roll_offset_deg=presets.U_ROLL_OFFSET_DEG,
    )


def _spec(asked: Asked) -> Spec:
    return Spec(
        pitch_deg=asked.want_deg,
        pitch_tolerance_deg=asked.pitch_tolerance_deg,
        roll_tolerance_deg=asked.roll_tolerance_deg,
        gap_tolerance_mm=asked.gap_tolerance_mm,
    )


def _legs(asked: Asked) -> list[Leg]:
    """Four legs of which nobody knows how far their levelers are out, but that those in front may be fully in."""
    out_mm = [0.0 if asked.front_in and leg in ("FL", "FR") else None for leg in LEGS]
    return [Leg(place=place, travel_mm=presets.TRAVEL_MM, exposure_mm=mm) for place, mm in enumerate(out_mm)]


def _work(asked: Asked) -> plans.PlanWork:
    return plans.PlanWork(
        front_reachable=asked.ends != "rear",
        rear_reachable=asked.ends != "front",
        on_dollies=asked.ends == "dollies",
        steps_per_turn=asked.steps_per_turn,
        even_if_in_spec=asked.closer,
    )


def _readings(asked: Asked) -> list[dict[str, object]]:
    side = "right" if asked.roll_deg > 0 else "left" if asked.roll_deg < 0 else "level"
    shown = (("along", asked.pitch_deg, "rear" if asked.pitch_deg else "level"), ("across", abs(asked.roll_deg), side))
    return [
        {"direction": direction, "value": value, "text": f"{value:g}", "unit": "deg", "high_end": end}
        for direction, value, end in shown
    ]


def _working(asked: Asked, assessment: Assessment) -> Working:
    """What one full turn changes, at the cabinet's own pitch (DEVELOPERS.md, Geometry)."""
    feet = foot_positions(track_front_mm=asked.track_front_mm, track_rear_mm=asked.track_rear_mm, base_mm=asked.base_mm)
    per_mm = plane_response(feet)
    cabinet_deg = assessment.pitch_deg - presets.ERAS[asked.era].pitch_offset_deg
    gy = np.tan(np.radians(cabinet_deg))
    turned = np.degrees(np.arctan(gy + asked.lead_mm * (per_mm[1, 2] + per_mm[1, 3])))
    return Working(
        cabinet_deg=cabinet_deg,
        pitch_lack_deg=asked.want_deg - assessment.pitch_deg,
        pitch_turn_deg=float(turned) - cabinet_deg,
        roll_lack_deg=-assessment.roll_deg,
        roll_turn_deg=float(np.degrees(np.arctan(asked.lead_mm * per_mm[0, 1]))),
    )
