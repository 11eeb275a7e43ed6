"""The verdict on a machine: pitch, roll and twist against its spec, and all three together.

gap under the light foot = 4 x twist, so a gap tolerance of 0.5 mm is a twist tolerance of 0.125 mm either way
"""

from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, flags
from leveling.errors import BadInput
from leveling.verdicts import (
    BORDERLINE,
    DEFAULT_RULE,
    IN_SPEC,
    NOT_MEASURED,
    NOT_PROVEN,
    OUT_OF_SPEC,
    PROVEN_IN,
    PROVEN_OUT,
    Rule,
    Verdict,
    judge,
)
from leveling.verdicts_shapes import Spread


@dataclass(frozen=True)
class Spec:
    """What a machine should read, each field shape (...). The wanted roll and twist are 0.

    Attributes: ``pitch_deg`` [degree] wanted pitch, -20 to 20. ``pitch_tolerance_deg``, ``roll_tolerance_deg``
    [degree] and ``gap_tolerance_mm`` [mm] half-widths, above 0; the gap is that under the light foot.

    Raises BadInput if a field is not finite or out of its range.
    """

    pitch_deg: FloatArray
    pitch_tolerance_deg: FloatArray
    roll_tolerance_deg: FloatArray
    gap_tolerance_mm: FloatArray

    def __post_init__(self) -> None:
        for item in fields(self):
            limits = {"low": -20.0, "high": 20.0} if item.name == "pitch_deg" else {"low": 0.0, "above": True}
            unit = "mm" if item.name.endswith("_mm") else "degrees"
            value = finite(item.name, getattr(self, item.name), unit=unit, **limits)  # type: ignore[arg-type]
            object.__setattr__(self, item.name, value)

    @property
    def twist_tolerance_mm(self) -> FloatArray:
        """Half-width of the twist [mm]: a quarter of the gap."""
        return self.gap_tolerance_mm / 4


def _yes() -> BoolArray:
    return np.ones((), dtype=np.bool_)


@dataclass(frozen=True)
class Measured:
    """What was measured, each field shape (...); where a ``known`` flag is False the numbers do not count.

    Attributes: ``pitch_deg``, ``u_pitch_deg``, ``roll_deg``, ``u_roll_deg`` [degree], ``twist_mm``, ``u_twist_mm``
    [mm] values and standard uncertainties, the latter 0 or more: numbers, of normal errors, or Spreads.
    ``pitch_known``, ``roll_known``, ``twist_known`` [yes or no].

    Raises BadInput if a number is not finite or an uncertainty negative.
    """

    pitch_deg: FloatArray
    u_pitch_deg: FloatArray | Spread
    roll_deg: FloatArray
    u_roll_deg: FloatArray | Spread
    twist_mm: FloatArray
    u_twist_mm: FloatArray | Spread
    pitch_known: BoolArray = field(default_factory=_yes)
    roll_known: BoolArray = field(default_factory=_yes)
    twist_known: BoolArray = field(default_factory=_yes)

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, Spread):
                continue
            if item.name.endswith("_known"):
                checked: FloatArray | BoolArray = flags(item.name, value)
            else:
                checked = finite(item.name, value, low=0 if item.name.startswith("u_") else -np.inf)
            object.__setattr__(self, item.name, checked)


@dataclass(frozen=True)
class MachineVerdict:
    """The verdict on a machine and on each of its three quantities, each field shape (...).

    Attributes: ``pitch``, ``roll``, ``twist`` [1, code] as Verdict. ``machine`` [1, code] all three together.
    """

    pitch: Verdict
    roll: Verdict
    twist: Verdict
    machine: Verdict


def judge_machine(*, measured: Measured, spec: Spec, rule: Rule = DEFAULT_RULE) -> MachineVerdict:
    """Return the verdict on pitch, roll and twist of a machine, and on the machine.

    Parameters
    ----------
    measured : Measured, each field shape (...) [degree, mm]
        Values with their uncertainty.
    spec : Spec, each field shape (...) [degree, mm]
        What is wanted.
    rule : Rule, scalar [1]
        The thresholds.

    Returns
    -------
    MachineVerdict, each field shape (...) [1, code]
        Verdicts; those of the machine's fields are of one common shape.

    Raises
    ------
    BadInput
        If the shapes do not fit.

    Notes
    -----
    The machine's chance is the product of the chances of what was measured, 0 if nothing was: it takes the three
    errors as independent. The true joint chance lies between the sum of the chances minus 2 and the smallest of
    them. Out of spec: the chance is at most ``out_below`` and a measured value lies outside. Otherwise, not measured
    if one of the three was not; in spec if the chance is at least ``in_from``; else borderline. Proven in: all
    three measured and the joint chance at least ``confidence``. Proven out: one of them is.

    Examples
    --------
    >>> measured = Measured(pitch_deg=6.6, u_pitch_deg=0.06, roll_deg=-0.3, u_roll_deg=0.05, twist_mm=0,
    ...                     u_twist_mm=0.03)
    >>> spec = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5)
    >>> verdict = judge_machine(measured=measured, spec=spec)
    >>> from leveling.verdicts import DAILY_WORDS
    >>> DAILY_WORDS[int(verdict.pitch.daily)], DAILY_WORDS[int(verdict.machine.daily)]
    ('in spec', 'out of spec')

    References
    ----------
    JCGM 106:2012, clauses 7 and 8. Bounds of a joint chance: M. Frechet, 1935 (from memory).
    """
    pitch = judge(
        value=measured.pitch_deg,
        u=measured.u_pitch_deg,
        low=spec.pitch_deg - spec.pitch_tolerance_deg,
        high=spec.pitch_deg + spec.pitch_tolerance_deg,
        known=measured.pitch_known,
        rule=rule,
    )
    roll = _judge_level(measured.roll_deg, measured.u_roll_deg, measured.roll_known, spec.roll_tolerance_deg, rule)
    twist = _judge_level(measured.twist_mm, measured.u_twist_mm, measured.twist_known, spec.twist_tolerance_mm, rule)
    return MachineVerdict(pitch=pitch, roll=roll, twist=twist, machine=_combined((pitch, roll, twist), rule))


def _judge_level(
    value: FloatArray, u: FloatArray | Spread, known: BoolArray, tolerance: FloatArray, rule: Rule
) -> Verdict:
    return judge(value=value, u=u, low=-tolerance, high=tolerance, known=known, rule=rule)


def _combined(verdicts: tuple[Verdict, ...], rule: Rule) -> Verdict:
    """The verdict on the machine from those on its quantities."""
    known = _stacked([verdict.daily != NOT_MEASURED for verdict in verdicts])
    chances = _stacked([verdict.chance for verdict in verdicts])
    inside = _stacked([verdict.inside for verdict in verdicts]) | ~known
    proven_out = _stacked([verdict.certificate == PROVEN_OUT for verdict in verdicts]).any(axis=0)
    best = _stacked([verdict.best_chance for verdict in verdicts]).prod(axis=0)
    all_known, all_inside = known.all(axis=0), inside.all(axis=0)
    chance = np.where(known, chances, 1.0).prod(axis=0) * known.any(axis=0)
    out_of_spec = known.any(axis=0) & (chance <= rule.out_below) & ~all_inside
    return Verdict(
        chance=chance,
        best_chance=best,
        inside=all_known & all_inside,
        daily=np.select(
            [out_of_spec, ~all_known, chance >= rule.in_from], [OUT_OF_SPEC, NOT_MEASURED, IN_SPEC], BORDERLINE
        ),
        certificate=np.select(
            [proven_out, all_known & (chance >= rule.confidence)], [PROVEN_OUT, PROVEN_IN], NOT_PROVEN
        ),
        provable=all_known & (best >= rule.confidence),
    )


def _stacked(arrays: list[NDArray[Any]]) -> NDArray[Any]:
    """The quantities on a new first axis."""
    try:
        return np.stack(np.broadcast_arrays(*arrays))
    except ValueError as error:
        raise BadInput("measured", "has rows of different shapes", "Give matching shapes") from error
