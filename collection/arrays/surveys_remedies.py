"""What would decide a survey's verdict, and whether the certificate rule can be met at all after turning.

For surveys read with one level that shows a number; what other kinds can do is said in words, by the kind.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from collection.arrays.surveys_feet import U_FEELER_MM
from collection.arrays.surveys_means import level_of, means_of, wave_of
from collection.arrays.surveys_results import Assessment
from collection.arrays.surveys_verdicts import wanted
from collection.models import Spec
from collection.models.instruments import KINDS_WITH_ZERO
from leveling import verdicts_tries as tries
from leveling.verdicts_proof import Planned, provability
from leveling.verdicts_remedies import remedies
from leveling.verdicts_ways import Means, Surveyed

#: As many more readings in a direction as a page asks of a person. Common practice, no source.
MOST_READINGS = 4
#: The finest part of a turn that a page asks for.
_STEPS_PER_TURN = 8

_DOES = {
    tries.CHECK_FEET: "feet",
    tries.READ_AGAIN: "again",
    tries.END_FOR_END: "end_for_end",
    tries.CHECK_ZERO: "zero",
    tries.SQUARE_EDGE: "square",
    tries.BETTER_INSTRUMENT: "better",
    tries.TURN_LEGS: "turn",
    tries.TURN_AND_BETTER: "turn_and_better",
    tries.NO_REMEDY: "none",
}


@dataclass(frozen=True)
class RemedyFound:
    """What would decide a verdict, how likely, and how sure pitch and roll are then.

    ``does`` is feet, again, end_for_end, zero, square, better, turn, turn_and_better or none. ``accuracy_deg`` is what
    another level must be stated at, 0 if the one at hand will do.
    """

    does: str
    along: int
    across: int
    checks_feet: bool
    end_for_end: bool
    accuracy_deg: float
    u_pitch_deg: float
    u_roll_deg: float
    chance: float


@dataclass(frozen=True)
class ProofFound:
    """Whether readings as many as now can prove the machine in spec once it stands in the middle, or else what would.

    ``does`` is "as_now" where they can, feet, again, end_for_end, zero, square, better or none; ``weakest`` (pitch,
    roll or gap) is what they prove least, ``tolerance`` its tolerance [degree or mm].
    """

    does: str
    along: int
    across: int
    end_for_end: bool
    accuracy_deg: float
    weakest: str
    tolerance: float


def one_level(inputs: Mapping[str, Any]) -> bool:
    """Return whether both directions were read with the same level that shows a number."""
    return not inputs.get("across") and means_of(inputs, "along")["kind"] in KINDS_WITH_ZERO


def remedy_of(
    *, found: Assessment, inputs: Mapping[str, Any], spec: Spec, certificate: bool = False
) -> RemedyFound | None:
    """Return what would decide the verdict by the daily rule or the certificate rule.

    None where it is decided already, and for what was not read with one level.
    """
    if not one_level(inputs):
        return None
    turned = _all_turned(found)
    pitch, roll = found.parts
    surveyed = Surveyed(
        pitch_deg=np.array(found.pitch_deg),
        pitch=pitch,
        roll_deg=np.array(found.roll_deg),
        roll=roll,
        twist_mm=np.array(found.twist_mm),
        u_twist_mm=np.array(found.u_twist_mm),
        twist_known=np.array(found.feet_checked),
        instrument=level_of(means_of(inputs, "along")),
        reversed_pair=np.array(turned),
    )
    best = remedies(surveyed=surveyed, spec=wanted(spec), certificate=certificate, means=_means_of(inputs))
    if int(best.code) == tries.DECIDED:
        return None
    return RemedyFound(
        does=_DOES[int(best.code)],
        along=int(best.more_along),
        across=int(best.more_across),
        checks_feet=bool(best.check_feet),
        end_for_end=bool(best.pairs),
        accuracy_deg=float(best.accuracy_deg),
        u_pitch_deg=float(best.u_pitch_deg),
        u_roll_deg=float(best.u_roll_deg),
        chance=float(best.chance),
    )


def proof_of(*, found: Assessment, inputs: Mapping[str, Any], spec: Spec) -> ProofFound | None:
    """Return whether the certificate rule can be met after turning; None for what was not read with one level.

    The gap is taken to be measured then, with a feeler.
    """
    if not one_level(inputs):
        return None
    turned = _all_turned(found)
    planned = Planned(
        instrument=level_of(means_of(inputs, "along")),
        reversed_pair=np.array(turned),
        along=np.array(max(found.pitch.readings, 1)),
        across=np.array(max(found.roll.readings, 1)),
        feet=np.array(True),
        u_gap_mm=np.array(U_FEELER_MM),
    )
    answer = provability(planned=planned, spec=wanted(spec), means=_means_of(inputs))
    proofs = {"pitch": answer.pitch, "roll": answer.roll, "gap": answer.gap}
    weakest = max(proofs, key=lambda name: float(proofs[name].u / proofs[name].u_needed))
    does = "as_now" if bool(answer.provable) else _DOES[int(answer.code)]
    return ProofFound(
        does=does if bool(answer.possible) else "none",
        along=int(answer.along),
        across=int(answer.across),
        end_for_end=turned or does in ("end_for_end", "square", "better"),
        accuracy_deg=float(answer.accuracy_deg),
        weakest=weakest,
        tolerance=getattr(spec, f"{weakest}_tolerance_{'mm' if weakest == 'gap' else 'deg'}"),
    )


def _all_turned(found: Assessment) -> bool:
    return all(tilt.turned is not None for tilt in found.tilts)


def _means_of(inputs: Mapping[str, Any]) -> Means:
    """What a person can do, at this machine."""
    machine, level = inputs["machine"], means_of(inputs, "along")
    return Means(
        most_readings=MOST_READINGS,
        u_gap_mm=U_FEELER_MM,
        step_mm=machine["lead_mm"] / _STEPS_PER_TURN,
        base_mm=machine["base_mm"],
        track_mm=(machine["track_front_mm"] + machine["track_rear_mm"]) / 2,
        wave_along_deg=wave_of(level, along=True),
        wave_across_deg=wave_of(level, along=False),
    )
