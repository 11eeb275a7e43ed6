"""Forecasts: a machine's surveys and turns on its present place, to when it is due and where it may stand until then.

      surveys, turns, floor -> Series, Model -> what is known now -> due date, its reasons, lines to draw

Days are counted from 1 January 2000, so that the seasons are in them.
"""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from collection.arrays.surveys_feet import feet_of
from collection.models import Machine, Spec, Survey
from leveling.checks import FloatArray
from leveling.drift import Series, Walk
from leveling.drift_forecast import LONGEST_DAYS, Due, Limits, band, chance_out, due, due_limit
from leveling.drift_grounds import GROUNDS, built_in
from leveling.drift_jumps import WAYS, Followed, followed
from leveling.drift_model import Model
from leveling.drift_smooth import smoothed, told
from leveling.four_feet import angle_units, mode_rows
from leveling.verdicts import chance_inside

QUANTITIES = ("pitch", "roll", "gap")
LIKELY = 0.5

_EPOCH = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
_DAY = datetime.timedelta(days=1)
#: No survey is surer than this [degree or mm], however its errors cancel.
_LEAST_U = 1e-4
#: How far what was turned is off what was told: a part of it, and for each leg half of a step. Common practice.
_U_TURNED, _U_TURN = 0.03, 0.07
_PAST_LINES, _COMING_LINES = 48, 32
#: At least so far ahead goes the drawing, and at most.
_SHOWN_DAYS = (60.0, 800.0)


@dataclass(frozen=True)
class Turned:
    """One leg, turned at a time: out positive. ``measures``: the machine's lead, tracks, base in the plan."""

    at: datetime.datetime
    place: int
    turns: float
    measures: Mapping[str, Any]


@dataclass(frozen=True)
class Watched:
    """A machine on its present place: its surveys there, oldest first, at least one, and its turns.

    ``u_common_deg``: what of pitch and roll all surveys with the newest one's instrument share, standard.
    """

    machine: Machine
    surveys: Sequence[Survey]
    turned: Sequence[Turned]
    spec: Spec
    surface: str
    placed_at: datetime.datetime | None
    u_common_deg: tuple[float, float]


@dataclass(frozen=True)
class Line:
    """Where pitch is on a day: 95 % lie between ``low`` and ``high`` [degree]."""

    at: datetime.datetime
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class Odd:
    """A survey that did not come about by drift, but by a ``way`` of `leveling.drift_jumps.WAYS`, and its chance.

    Of the newest one nobody can tell the way yet.
    """

    survey: Survey
    way: str
    chance: float
    is_newest: bool


@dataclass(frozen=True)
class Forecast:
    """When a machine is due, why, and where its pitch may be.

    ``due_at``: from when on the chance of being out is above ``limit``, or two years after the last survey, if
    ``by_age``. ``chance`` then, ``chance_now`` today, and ``chance_in_middle`` what the last survey would leave of a
    machine that it sees in the middle. ``already``, ``drifting``, ``jumping``: the parts of ``chance``. ``quantity``:
    what is most likely out then; ``seen_out`` if the last survey saw it beyond its limit. ``odd``: the surveys that did
    not come about by drift.
    """

    due_at: datetime.datetime
    by_age: bool
    limit: float
    chance: float
    chance_in_middle: float
    seen_out: bool
    chance_now: float
    already: float
    drifting: float
    jumping: float
    quantity: str
    lines: tuple[Line, ...]
    odd: tuple[Odd, ...]


@dataclass(frozen=True)
class DueDate:
    """From when on a machine is due, two years after its last survey at the latest, and what is most likely out."""

    at: datetime.datetime
    quantity: str


def due_of(*, watched: Watched, most: float) -> DueDate:
    """Return from when on a machine is due, ``most`` being the chance of being out that is too large."""
    return _due_date(watched, _known(watched, most).when)


def forecast_of(*, watched: Watched, now: datetime.datetime, most: float) -> Forecast:
    """Return when a machine is due, ``most`` being the chance of being out that is too large."""
    known = _known(watched, most)
    found, model, limits, when = known.found, known.model, known.limits, known.when
    last, due_date = watched.surveys[-1].measured_at, _due_date(watched, known.when)
    since = max(0.0, (now - last) / _DAY)
    today = chance_out(found.belief, model=model, limits=limits, days=np.array(since))
    ahead = np.linspace(0, _shown_days(when, since), _COMING_LINES)
    one = [0] * len(ahead)
    coming = band(found.belief.of(one), model=model.part(one), days=ahead, shared=limits.shared)
    return Forecast(
        due_at=due_date.at,
        by_age=not np.isfinite(when.days[0]),
        limit=known.limit,
        chance=float(when.chance[0]),
        chance_in_middle=_chance_in_middle(watched.surveys[-1], limits),
        seen_out=due_date.quantity in _seen_out(watched.surveys[-1], limits),
        chance_now=float(today[0]),
        already=float(when.already[0]),
        drifting=float(when.drifting[0]),
        jumping=float(when.jumping[0]),
        quantity=due_date.quantity,
        lines=(
            *_past(known),
            *(_line(last + float(day) * _DAY, *coming[:, 0, place]) for place, day in enumerate(ahead)),
        ),
        odd=_odd(watched, found.ways[:, 0]),
    )


@dataclass(frozen=True)
class _Known:
    """What the engine makes of a machine: ``model`` and ``limits`` with machines last, ``limit`` of the chance."""

    series: Series
    prior: Model
    found: Followed
    model: Model
    limits: Limits
    limit: float
    when: Due


def _known(watched: Watched, most: float) -> _Known:
    series, limits = _series(watched), _limits(watched)
    prior = built_in(np.array([list(GROUNDS).index(watched.surface)]))
    found, model = followed(series, prior), prior.of(1, 3)
    already = chance_out(found.belief, model=model, limits=limits, days=np.array(0.0))
    limit = due_limit(already, most=np.asarray(most))
    when = due(found.belief, model=model, limits=limits, most=limit)
    return _Known(series, prior, found, model, limits, float(limit[0]), when)


def _seen_out(survey: Survey, limits: Limits) -> list[str]:
    """What a survey saw beyond its limit."""
    seen = np.array([survey.pitch_deg, survey.roll_deg, survey.twist_mm])
    out = (seen < limits.low[:, 0]) | (seen > limits.high[:, 0])
    return [name for name, is_out in zip(QUANTITIES, out, strict=True) if is_out]


def _chance_in_middle(survey: Survey, limits: Limits) -> float:
    """The chance of being out that a survey as sure as this one leaves of a machine that it sees in the middle."""
    u = np.maximum([survey.u_pitch_deg, survey.u_roll_deg, survey.u_twist_mm], _LEAST_U)
    half = (limits.high - limits.low)[:, 0] / 2
    return float(1 - np.prod(chance_inside(value=np.zeros(3), u=u, low=-half, high=half)))


def _due_date(watched: Watched, when: Due) -> DueDate:
    days = min(float(when.days[0]), LONGEST_DAYS)
    return DueDate(watched.surveys[-1].measured_at + days * _DAY, QUANTITIES[int(when.quantity[0])])


def _series(watched: Watched) -> Series:
    """The surveys as the engine takes them: pitch and roll in degrees, twist in mm, shape (1, 3, T)."""
    surveys = watched.surveys
    u = np.array([[each.u_pitch_deg, each.u_roll_deg, each.u_twist_mm] for each in surveys]).T
    common = np.array([*watched.u_common_deg, 0.0])[:, None]
    own = np.maximum(u**2 - np.minimum(common, u) ** 2, (0.2 * u) ** 2)
    steps, variances = _turns(watched)
    changed = [False, *(_means(a) != _means(b) for a, b in pairwise(surveys))]
    variances += np.where(changed, 2 * common**2, 0)
    days = np.array([_days(each.measured_at) for each in surveys])
    placed = min(_days(watched.placed_at), days[0]) if watched.placed_at else days[0]
    return Series(
        days=days,
        values=np.array([[[each.pitch_deg, each.roll_deg, each.twist_mm] for each in surveys]]).transpose(0, 2, 1),
        variances=np.maximum(own, _LEAST_U**2),
        steps=steps,
        step_variances=variances,
        seen=np.ones(1, dtype=np.bool_),
        placed=np.array(placed),
    )


def _turns(watched: Watched) -> tuple[FloatArray, FloatArray]:
    """What turning changed between surveys, and the variance of that: shape (3, T)."""
    times = [each.measured_at for each in watched.surveys]
    steps, legs = np.zeros((2, 3, len(times)))
    for each in watched.turned:
        after = next((place for place, at in enumerate(times) if at >= each.at), None)
        if after:  # turns before the first survey, or after the last, are between no two of them
            by_turn = _by_turn(each, watched.spec)
            steps[:, after] += by_turn * each.turns
            legs[:, after] += (by_turn * _U_TURN) ** 2
    return steps, (_U_TURNED * steps) ** 2 + legs


def _by_turn(turned: Turned, spec: Spec) -> FloatArray:
    """What a turn of that leg changes: pitch and roll [degree], twist [mm]."""
    rows = mode_rows(feet_of(turned.measures))[:, turned.place]
    return rows * angle_units(spec.pitch_deg, 0.0) * turned.measures["lead_mm"]


def _limits(watched: Watched) -> Limits:
    spec, common = watched.spec, np.array([*watched.u_common_deg, 0.0])
    middle = np.array([spec.pitch_deg, 0.0, 0.0])
    tolerance = np.array([spec.pitch_tolerance_deg, spec.roll_tolerance_deg, spec.gap_tolerance_mm / 4])
    return Limits(low=(middle - tolerance)[:, None], high=(middle + tolerance)[:, None], shared=(common**2)[:, None])


def _past(known: _Known) -> list[Line]:
    """Pitch between the surveys, with hindsight."""
    series, shape = known.series, known.series.shape
    seen = told(series, known.found, hazard=known.prior.hazard)
    days = np.broadcast_to(series.days, shape)[0, 0]
    if days[-1] <= days[0]:
        return []
    one = {
        name: np.broadcast_to(getattr(seen, name), shape)[0, 0]
        for name in ("days", "values", "variances", "steps", "step_variances", "seen")
    }
    pitch = Walk(**{name: array[0, 0] for name, array in vars(known.prior.walk.spread((1, 3))).items()})
    there = np.unique(np.concatenate([np.linspace(days[0], days[-1], _PAST_LINES), days]))
    found = smoothed(Series(**one, placed=series.since[0, 0]), pitch, days=there)
    half = 1.96 * np.sqrt(found.variance + known.limits.shared[0])
    return [
        _line(_EPOCH + float(day) * _DAY, number - wide, number, number + wide)
        for day, number, wide in zip(there, found.number, half, strict=True)
    ]


def _line(at: datetime.datetime, low: Any, middle: Any, high: Any) -> Line:
    return Line(at, float(low), float(middle), float(high))


def _shown_days(when: Due, since: float) -> float:
    least, most = _SHOWN_DAYS
    to_due = min(float(when.days[0]), LONGEST_DAYS)
    return max(least, min(1.1 * to_due, most), since + least / 2)


def _odd(watched: Watched, ways: FloatArray) -> tuple[Odd, ...]:
    """The surveys of which one way other than drift is likely; of the newest, any of them."""
    last = len(watched.surveys) - 1
    found = []
    for place, survey in enumerate(watched.surveys):
        way = 1 + int(ways[1:, place].argmax())
        chance = float(ways[1:, place].sum() if place == last else ways[way, place])
        if chance > LIKELY:
            found.append(Odd(survey, WAYS[way], chance, place == last))
    return tuple(found)


def _means(survey: Survey) -> tuple[Any, Any]:
    return survey.instrument_id, survey.instrument_across_id


def _days(at: datetime.datetime) -> float:
    return (at - _EPOCH) / _DAY
