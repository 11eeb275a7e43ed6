r"""Twist of the cabinet told from twist of the board: roll read at the front and at the rear of the playfield differ.

      rear   roll r_rear     d = r_rear - r_front
      |----------|
      |  board   |           a foot is light:  d1 = board + frame     the frame is wrung by its uneven feet
      |----------|           all feet bear:    d2 = board             evenly carried, nothing wrings it
      front  roll r_front
                             board = d2, frame = d1 - d2

The model: what is wrung out of the frame vanishes once all feet carry their part; the board keeps its own twist. Its
limits: a cabinet that was built or has set crooked stays so and reads as the board's; a frame so stiff, or a playfield
so loose in it, that nothing reaches the board reads as no frame twist; a light foot that bears lightly still wrings.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import IntArray, flags, together

#: What a roll that differs front and rear comes from: the index is the outcome code.
NEITHER, BOARD, CABINET, BOTH, CANNOT_TELL = range(5)
TWIST_OUTCOMES = (
    "neither: front and rear agree",
    "board: the playfield itself is twisted, and turning legs will not change it",
    "cabinet: it was wrung by its feet, and is not once all bear",
    "both: part of it went when all feet bore, part is the board's own",
    "cannot tell yet: let all feet bear, then read front and rear afresh, several times each",
)

#: A difference front to rear that can be felt in play, degrees. Common practice, no source.
MATTERS_DEG = 0.1

_COVER = 2.0
_STEEPEST_DEG = 45.0


@dataclass(frozen=True)
class EndRolls:
    """Roll of the playfield read at its front and at its rear in one stance, each field with the batch shape (...).

    ``front_deg`` and ``rear_deg`` [degree], positive = right side higher, -45 to 45. ``u_front_deg`` and
    ``u_rear_deg`` [degree]: standard uncertainty without what both ends share: the zero and the accuracy of one level
    cancel, laying it down afresh and rounding do not.

    Raises BadInput if a number is not finite or out of range.
    """

    front_deg: FloatArray
    rear_deg: FloatArray
    u_front_deg: FloatArray
    u_rear_deg: FloatArray

    def __post_init__(self) -> None:
        for name in ("front_deg", "rear_deg"):
            angle = finite(name, getattr(self, name), low=-_STEEPEST_DEG, high=_STEEPEST_DEG, unit="degrees")
            object.__setattr__(self, name, angle)
        for name in ("u_front_deg", "u_rear_deg"):
            object.__setattr__(self, name, finite(name, getattr(self, name), low=0, unit="degrees"))

    @property
    def difference_deg(self) -> FloatArray:
        """Roll at the rear less roll at the front [degree]."""
        return self.rear_deg - self.front_deg

    @property
    def u_difference_deg(self) -> FloatArray:
        """Its standard uncertainty [degree]."""
        return np.hypot(self.u_rear_deg, self.u_front_deg)


@dataclass(frozen=True)
class TwistParts:
    """Whose twist it is, each field with the batch shape (...).

    ``outcome`` is the index into ``TWIST_OUTCOMES``. ``board_deg`` and ``frame_deg`` [degree], positive = the rear
    leans more to the right side high than the front, with ``u_board_deg`` and ``u_frame_deg`` [degree], their standard
    uncertainties. ``correlation`` [1] between the two. Where not all feet bore, the parts are the difference that was
    read shared half and half, with an uncertainty that lets either be all of it.
    """

    outcome: IntArray
    board_deg: FloatArray
    u_board_deg: FloatArray
    frame_deg: FloatArray
    u_frame_deg: FloatArray
    correlation: FloatArray


def tell_twist(
    *, before: EndRolls, after: EndRolls, all_bear_after: ArrayLike = True, matters_deg: ArrayLike = MATTERS_DEG
) -> TwistParts:
    """Return how much of a roll that differs front and rear is the board's and how much the cabinet's.

    Parameters
    ----------
    before : EndRolls, each shape (...) [degree]
        Read while a foot was light.
    after : EndRolls, each shape (...) [degree]
        Read at the same two spots with the same level once all feet carry their part.
    all_bear_after : array_like of bool, shape (...) [yes or no]
        That they do: checked by weights, a feeler or pressing. Where False the row cannot be told.
    matters_deg : array_like, shape (...) [degree]
        A smaller difference is as good as none, above 0.

    Returns
    -------
    TwistParts, each shape (...) [code, degree]
        Outcome, board's part, frame's part.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or shapes do not fit.

    Notes
    -----
    A part is there from two standard uncertainties. "Neither" needs both parts, with two standard uncertainties on
    top, to be less than ``matters_deg``. The readings after count in both parts, so a board read too high makes the
    frame too low.

    Examples
    --------
    >>> before = EndRolls(front_deg=0.10, rear_deg=0.45, u_front_deg=0.03, u_rear_deg=0.03)
    >>> after = EndRolls(front_deg=0.22, rear_deg=0.25, u_front_deg=0.03, u_rear_deg=0.03)
    >>> parts = tell_twist(before=before, after=after)
    >>> TWIST_OUTCOMES[int(parts.outcome)]
    'cabinet: it was wrung by its feet, and is not once all bear'
    >>> float(parts.frame_deg), float(parts.u_frame_deg)  # doctest: +NUMBER
    (0.32, 0.06)

    References
    ----------
    Model of our own, derived in DEVELOPERS.md, Geometry. Propagation: JCGM 100:2008 (GUM), 5.1.2.
    """
    first, u_first, second, u_second, bears, matters = together(
        before=before.difference_deg,
        u_before=before.u_difference_deg,
        after=after.difference_deg,
        u_after=after.u_difference_deg,
        all_bear_after=flags("all_bear_after", all_bear_after),
        matters_deg=finite("matters_deg", matters_deg, low=0, above=True, unit="degrees"),
    )
    # Not borne out: each part may be anything between none and all of what was read.
    half, u_half = first / 2, np.hypot(first / 2, u_first)
    board, u_board = np.where(bears, second, half), np.where(bears, u_second, u_half)
    frame = np.where(bears, first - second, half)
    u_frame = np.where(bears, np.hypot(u_first, u_second), u_half)
    board_there, frame_there = np.abs(board) > _COVER * u_board, np.abs(frame) > _COVER * u_frame
    small = (np.abs(board) + _COVER * u_board < matters) & (np.abs(frame) + _COVER * u_frame < matters)
    outcome = np.select(
        [~bears, small, board_there & frame_there, board_there, frame_there],
        [CANNOT_TELL, NEITHER, BOTH, BOARD, CABINET],
        CANNOT_TELL,
    )
    shared = np.where(u_frame > 0, u_second / np.where(u_frame > 0, u_frame, 1.0), 0.0)
    return TwistParts(
        outcome=outcome.astype(np.int64),
        board_deg=board,
        u_board_deg=u_board,
        frame_deg=frame,
        u_frame_deg=u_frame,
        correlation=np.where(bears, -shared, -1.0),
    )
