"""Learning: a machine was surveyed, turned and surveyed again; what that tells of it, or what went wrong.

      before --turns told--> should read --- compared with ---> after
         \\------ turns of each other story ---> would read ------/

Each story of ``response_faults`` foretells the second survey, with what is not known of threads, base, track,
offset, hands and both surveys. If "as told" is the likeliest by far, the machine's response is moved by Bayes' rule;
otherwise nothing is learned and the likeliest story is told. An error that both surveys share cancels in the change.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import logsumexp

from leveling.checks import FloatArray, finite, last_axis
from leveling.checks_shapes import IntArray
from leveling.errors import BadInput
from leveling.four_feet import FourFeet, Offset, angle_units, mode_rows, tilted
from leveling.frame import LEGS_MEANING
from leveling.prediction import U_TURN, Turning, after_turns, as_it_stands
from leveling.response import Response
from leveling.response_faults import U_LEG_OFF_MM, Finding, Story, stories_of

#: "As told" is believed while it is this likely, eleven times as much as all else together. Common practice,
#: no source: ``tests/benchmarks/bench_response.py`` shows what it catches and how often it is wrong.
LEAST_CHANCE = 0.92

_NEARLY = 5.0  # another finding is told too unless the first is this much likelier
_TOO_LITTLE = 3.0  # times the uncertainty of the change
# Nothing is measured better than this: degree, degree, mm. Keeps a perfect survey of a perfect machine solvable.
_LEAST_U = np.array([1e-4, 1e-4, 1e-3])
_BEND_DEG = 0.01


@dataclass(frozen=True)
class Step:
    """A survey, the turns that were told, and the survey after them, each field with the batch shape (...).

    ``before`` and ``after`` [degree, mm], on the plane of all four feet; where the feet were not checked, the
    covariance says so. ``turns``, shape (..., 4) [turn], legs FL, FR, RL, RR, out positive. ``feet_mm``, shape
    (..., 4, 2) [mm], as believed. ``u_shared_deg``, shape (..., 2) [degree], standard uncertainty of pitch and
    roll that both surveys share, such as the accuracy of one level used for both; 0 with two levels. ``u_turn``
    [turn], of each turned leg.

    Raises BadInput if a number is not finite or out of range, a shape is wrong, or more is shared than there is.
    """

    before: FourFeet
    turns: FloatArray
    after: FourFeet
    feet_mm: FloatArray
    u_shared_deg: FloatArray
    u_turn: FloatArray

    def __init__(
        self,
        *,
        before: FourFeet,
        turns: ArrayLike,
        after: FourFeet,
        feet_mm: ArrayLike,
        u_shared_deg: ArrayLike = (0.0, 0.0),
        u_turn: ArrayLike = U_TURN,
    ) -> None:
        made = last_axis("turns", finite("turns", turns, low=-1000, high=1000, unit="turns"), 4, LEGS_MEANING)
        feet = last_axis("feet_mm", finite("feet_mm", feet_mm, unit="mm"), 2, "x, y")
        last_axis("feet_mm", feet[..., 0], 4, LEGS_MEANING)
        shared = last_axis(
            "u_shared_deg", finite("u_shared_deg", u_shared_deg, low=0, unit="degrees"), 2, "pitch, roll"
        )
        for survey in (before, after):
            # An angle's error is worth a little more or less after the gap is taken away: 2 % covers that.
            own = survey.covariance * 1.02 - _shared(shared)
            if (np.linalg.eigvalsh(own)[..., 0] < -1e-12).any():
                raise BadInput("u_shared_deg", "is more than a survey's whole uncertainty", "Give the shared part only")
        hand = finite("u_turn", u_turn, low=0, high=10, unit="turns")
        values = (before, made, after, feet, shared, hand)
        for name, value in zip(("before", "turns", "after", "feet_mm", "u_shared_deg", "u_turn"), values, strict=True):
            object.__setattr__(self, name, value)


@dataclass(frozen=True)
class Learning:
    """What a step told, each field with the batch shape (...).

    ``response``: what is believed now; where nothing was learned, what was believed before. ``finding`` [code], a
    ``Finding``; ``rival`` [code], another one that explains the readings nearly as well, ``LEARNED`` where none does:
    angles tell no left foot turned in from a right foot turned out. ``chance_as_told`` [1]. ``turned``, shape
    (..., 4) [turn]: the turns that the readings look like. ``leg`` and ``instead`` [leg number]: the foot concerned
    and the one turned in its place, -1 for several or none.
    """

    response: Response
    finding: IntArray
    rival: IntArray
    chance_as_told: FloatArray
    turned: FloatArray
    leg: IntArray
    instead: IntArray


def learn_response(prior: Response, step: Step) -> Learning:
    """Return what is believed of a machine's response after a step, or why nothing is learned from it.

    Parameters
    ----------
    prior : Response, each shape (...) [mm per turn, 1, degree]
        What was believed before.
    step : Step, each shape (...) [degree, mm, turn]
        Survey, turns, survey.

    Returns
    -------
    Learning, each shape (...) [mm per turn, 1, degree, turn, code]
        The new belief and the finding.

    Raises
    ------
    BadInput
        If the shapes do not fit.

    Notes
    -----
    First order around each thread's mean (an extended Kalman filter, one for each thread, weighed by Bayes' rule).
    A machine whose feet were not checked comes to rest on three of them, so where a story leaves a twist that the
    survey did not look for, its pitch is foretold as it stands. An offset bends a change so little that a step
    hardly teaches it: ``standing.learn_offset`` does, where floor and legs are known.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> from leveling.response import usual_response
    >>> u = np.diag([0.03, 0.03, 0.01]) ** 2
    >>> step = Step(
    ...     before=FourFeet(4.0, 0.0, 0.0, u), turns=[0, 0, 35, 35], after=FourFeet(6.5, 0.0, 0.0, u),
    ...     feet_mm=foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300),
    ... )
    >>> learning = learn_response(usual_response(lead_mm=1.5875, other_lead_mm=1.5, offset=Offset(5.3)), step)
    >>> Finding(int(learning.finding)).name, float(learning.response.pitch_factor)  # doctest: +NUMBER
    ('LEARNED', 1.0105)

    References
    ----------
    Bayes' rule with normals: A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, chapter 3 (from memory).
    """
    stories = stories_of(step.turns)
    sink = _sink_deg_per_mm(step, prior)[..., None]
    foreseen = _foresee(prior, step, stories[0], sink)
    logs = [_weighed(prior, stories[0], foreseen)]
    logs += [_weighed(prior, story, _foresee(prior, step, story, sink)) for story in stories[1:]]
    log = np.stack(np.broadcast_arrays(*logs), axis=-1)
    chance = np.exp(log[..., 0] - logsumexp(log, axis=-1))
    fault, rival, likeliest = _likeliest(stories, log)

    nothing = np.broadcast_to((step.turns == 0).all(axis=-1), chance.shape)
    doubted = ~nothing & (chance < LEAST_CHANCE)
    little = (np.abs(foreseen.change) < _TOO_LITTLE * foreseen.u_change).all(axis=(-1, -2))
    finding = np.select(
        [nothing, doubted, little], [Finding.NOTHING_TURNED, fault, Finding.TOO_LITTLE_MOVED], Finding.LEARNED
    )
    story = np.where(doubted, likeliest, 0)
    turns = np.stack([np.broadcast_to(each.turns, (*chance.shape, 4)) for each in stories], axis=-2)
    return Learning(
        response=_updated(prior, foreseen, finding == Finding.LEARNED),
        finding=finding.astype(np.int64),
        rival=np.where(doubted, rival, Finding.LEARNED).astype(np.int64),
        chance_as_told=np.where(nothing, 1.0, chance),
        turned=np.take_along_axis(turns, story[..., None, None], axis=-2)[..., 0, :],
        leg=np.array([each.leg for each in stories])[story],
        instead=np.array([each.instead for each in stories])[story],
    )


def answer_to_turns(response: Response, *, before: FourFeet, turns: ArrayLike, feet_mm: ArrayLike) -> FourFeet:
    """Return the plane of all four feet after turns, with what is not known of the machine's response.

    Parameters
    ----------
    response : Response, each shape (...) [mm per turn, 1, degree]
        What is believed of the machine.
    before : FourFeet, each shape (...) [degree, mm]
        The survey.
    turns : array_like, shape (..., 4) [turn]
        Turns of FL, FR, RL, RR, out positive.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of the feet as believed.

    Returns
    -------
    FourFeet, each shape (...)
        Pitch and roll [degree], twist [mm], their covariance: mean and covariance over both threads.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or a shape is wrong.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> from leveling.response import usual_response
    >>> after = answer_to_turns(
    ...     usual_response(lead_mm=1.5875, other_lead_mm=1.5, offset=Offset(5.3)),
    ...     before=FourFeet(4.0, 0.0, 0.0, np.diag([0.03, 0.03, 0.01]) ** 2), turns=[0, 0, 35, 35],
    ...     feet_mm=foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300),
    ... )
    >>> float(after.pitch_deg), float(after.u_pitch_deg)  # doctest: +NUMBER
    (6.441, 0.059)

    References
    ----------
    Moments of a mixture: A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, chapter 1 (from memory).
    """
    told = Turning(turns, 1.0)
    feet = last_axis("feet_mm", finite("feet_mm", feet_mm, unit="mm"), 2, "x, y")
    turning = Turning(told.turns[..., None, :], response.lead_mm[..., None])
    four, slope = _answer(response, _for_threads(before), turning, _feet_of(response, feet))
    each = np.stack([four.pitch_deg, four.roll_deg, four.twist_mm], axis=-1)
    mean = (response.chance[..., None] * each).sum(axis=-2)
    off = each - mean[..., None, :]
    spread = four.covariance + slope @ response.covariance @ np.swapaxes(slope, -1, -2)
    spread = spread + off[..., :, None] * off[..., None, :]
    covariance = (response.chance[..., None, None] * spread).sum(axis=-3)
    symmetric = (covariance + np.swapaxes(covariance, -1, -2)) / 2
    return FourFeet(mean[..., 0], mean[..., 1], mean[..., 2], symmetric)


def _likeliest(stories: tuple[Story, ...], log: FloatArray) -> tuple[IntArray, IntArray, IntArray]:
    """The likeliest finding but "as told", a second one nearly as likely, and the likeliest story of the first."""
    kinds = np.array([story.finding for story in stories])
    faults = np.unique(kinds[1:])
    each = np.stack([logsumexp(log[..., kinds == fault], axis=-1) for fault in faults], axis=-1)
    first, second = np.moveaxis(np.argsort(-each, axis=-1, kind="stable")[..., :2], -1, 0)
    far = np.take_along_axis(each, first[..., None], axis=-1) - np.take_along_axis(each, second[..., None], axis=-1)
    rival = np.where(far[..., 0] > np.log(_NEARLY), Finding.LEARNED, faults[second])
    own = np.where(kinds == faults[first][..., None], log, -np.inf)
    return faults[first], rival, np.argmax(own, axis=-1)


@dataclass(frozen=True)
class _Foreseen:
    """What a story says of the second survey, for each thread, shape (..., 2, ...)."""

    surprise: FloatArray  # (..., 2, 3): after less what was foretold
    slope: FloatArray  # (..., 2, 3, 4): how that depends on the state
    covariance: FloatArray  # (..., 2, 3, 3) of the surprise, the state's part included
    change: FloatArray  # (..., 2, 3): what pitch, roll and twist should change by
    u_change: FloatArray  # (..., 1, 3): from both surveys

    @property
    def log_likelihood(self) -> FloatArray:
        """Log density of the surprise, shape (..., 2), but for a constant."""
        size = (self.surprise * np.linalg.solve(self.covariance, self.surprise[..., None])[..., 0]).sum(axis=-1)
        return -0.5 * (size + np.linalg.slogdet(self.covariance)[1])


def _foresee(prior: Response, step: Step, story: Story, sink_deg_per_mm: FloatArray) -> _Foreseen:
    feet, before, after = _feet_of(prior, step.feet_mm), _for_threads(step.before), _for_threads(step.after)
    turning = Turning(story.turns[..., None, :], prior.lead_mm[..., None], step.u_turn[..., None, None])
    four, slope = _answer(prior, before, turning, feet)
    change = [getattr(four, name) - getattr(before, name) for name in ("pitch_deg", "roll_deg", "twist_mm")]

    pitch = four.pitch_deg + _sunk(four, after, sink_deg_per_mm)
    foretold = np.stack([pitch, four.roll_deg, four.twist_mm], axis=-1)
    read = np.stack([after.pitch_deg, after.roll_deg, after.twist_mm], axis=-1)
    shared = _shared(step.u_shared_deg)[..., None, :, :]
    surveys = before.covariance + after.covariance - 2 * shared
    per_mm = angle_units(four.pitch_deg - prior.mean[..., 2], four.roll_deg - prior.mean[..., 3])
    loose = mode_rows(feet) * per_mm[..., None] * (U_LEG_OFF_MM * np.array(story.loose))
    own = four.covariance - before.covariance + loose @ np.swapaxes(loose, -1, -2) + np.diag(_LEAST_U**2)
    return _Foreseen(
        surprise=read - foretold,
        slope=slope,
        covariance=surveys + own + slope @ prior.covariance @ np.swapaxes(slope, -1, -2),
        change=np.stack(change, axis=-1),
        u_change=np.sqrt(np.diagonal(surveys, axis1=-2, axis2=-1)),
    )


def _feet_of(prior: Response, feet_mm: FloatArray) -> FloatArray:
    """The feet as each thread's mean has them, shape (..., 2, 4, 2): track for x, base for y."""
    return feet_mm[..., None, :, :] / prior.mean[..., None, 1::-1]


def _answer(prior: Response, before: FourFeet, turning: Turning, feet_mm: FloatArray) -> tuple[FourFeet, FloatArray]:
    """Each thread's plane after the turns, its factors and offset taken as known; and how it depends on them."""
    offset = Offset(prior.mean[..., 2], prior.mean[..., 3], 0.0, 0.0)
    four = after_turns(before=before, turning=turning, feet_mm=feet_mm, offset=offset)
    return four, _slope(before, four, prior)


def _slope(before: FourFeet, after: FourFeet, prior: Response) -> FloatArray:
    """How foretold pitch, roll and twist depend on base, track and offsets, shape (..., 2, 3, 4)."""
    slope = np.zeros((*after.pitch_deg.shape, 3, 4))
    for row, name in enumerate(("pitch_deg", "roll_deg")):
        was, becomes, offset = getattr(before, name), getattr(after, name), prior.mean[..., 2 + row]
        old, new = (np.tan(np.radians(angle - offset)) for angle in (was, becomes))
        slope[..., row, row] = np.degrees((new - old) / (1 + new**2)) / prior.mean[..., row]
        bent = tilted(was, offset_deg=offset + _BEND_DEG, gradient=new - old)
        slope[..., row, 2 + row] = (bent - becomes) / _BEND_DEG
    return slope


def _sunk(four: FourFeet, after: FourFeet, sink_deg_per_mm: FloatArray) -> FloatArray:
    """How much more or less a playfield pitches because its twist is not the one that the second survey took.

    On three feet it pitches the less the larger the twist, whichever its sign; no covariance can hold that. So where
    the story's twist and the survey's differ by what was not looked at closely, what the survey's own covariance
    says of pitch along with twist is taken away and what truly happens is put in.
    """
    variance = after.covariance[..., 2, 2]
    unseen = variance / (variance + four.covariance[..., 2, 2] + _LEAST_U[2] ** 2)
    further = unseen * (four.twist_mm - after.twist_mm)
    sunk = sink_deg_per_mm * (np.abs(after.twist_mm + further) - np.abs(after.twist_mm))
    said = after.covariance[..., 0, 2] / (variance + _LEAST_U[2] ** 2)
    return sunk + said * further


def _sink_deg_per_mm(step: Step, prior: Response) -> FloatArray:
    """Change of pitch per mm of twist of either sign, when the machine comes to rest on three feet."""
    offset = prior.offset
    four = FourFeet(step.after.pitch_deg, step.after.roll_deg, 1.0, np.zeros((3, 3)))  # type: ignore[arg-type]
    other = FourFeet(step.after.pitch_deg, step.after.roll_deg, -1.0, np.zeros((3, 3)))  # type: ignore[arg-type]
    plus, minus = (as_it_stands(each, feet_mm=step.feet_mm, offset=offset).pitch_deg for each in (four, other))
    return (plus + minus) / 2 - step.after.pitch_deg


def _updated(prior: Response, foreseen: _Foreseen, learned: ArrayLike) -> Response:
    """The belief after the surprise, where something is learned."""
    cross = foreseen.slope @ prior.covariance
    gain = np.swapaxes(np.linalg.solve(foreseen.covariance, cross), -1, -2)
    mean = prior.mean + (gain @ foreseen.surprise[..., None])[..., 0]
    spread = prior.covariance - gain @ foreseen.covariance @ np.swapaxes(gain, -1, -2)
    with np.errstate(divide="ignore"):
        log = np.log(prior.chance) + foreseen.log_likelihood
    chance = np.exp(log - logsumexp(log, axis=-1, keepdims=True))
    yes = np.asarray(learned)
    return Response(
        lead_mm=prior.lead_mm,
        chance=np.where(yes[..., None], chance, prior.chance),
        mean=np.where(yes[..., None, None], mean, prior.mean),
        covariance=np.where(yes[..., None, None, None], (spread + np.swapaxes(spread, -1, -2)) / 2, prior.covariance),
    )


def _weighed(prior: Response, story: Story, foreseen: _Foreseen) -> FloatArray:
    """Log of a story's share in what happened, over both threads."""
    with np.errstate(divide="ignore"):
        return logsumexp(np.log(prior.chance) + foreseen.log_likelihood, axis=-1) + np.log(story.weight)


def _for_threads(four: FourFeet) -> FourFeet:
    """The same survey for each of the two threads, shape (..., 1)."""
    covariance = four.covariance[..., None, :, :]
    return FourFeet(four.pitch_deg[..., None], four.roll_deg[..., None], four.twist_mm[..., None], covariance)


def _shared(u_shared_deg: FloatArray) -> FloatArray:
    """Covariance of what both surveys share, shape (..., 3, 3)."""
    variances = np.concatenate([u_shared_deg**2, np.zeros_like(u_shared_deg[..., :1])], axis=-1)
    return variances[..., None] * np.eye(3)
