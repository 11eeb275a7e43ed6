"""Angle blocks with a bubble: the pitch lies between the block that is too small and the block that is too large.

                    ___bubble___
      block  ______/____________|     the block's thin end to the rear: at pitch = block angle its top is level
      ______/ playfield               "rear" still high: pitch above the block   "front" high: pitch below it
       front               rear       "level": pitch within the bubble's sensitivity of the block

The blocks are the user's own; each has its own angle and tolerance.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import flags, together
from leveling.errors import BadInput
from leveling.instruments import HIGH_ENDS_ALONG, Budget, standard_from_limit
from leveling.instruments_bubbles import NOT_LOOKED, Bubble, bubble_budget, bubble_limits
from leveling.instruments_looks import Belief, Estimate, weigh_looks


@dataclass(frozen=True)
class Blocks:
    """Angle blocks in the order they were tried, each field shape (..., k).

    Attributes: ``angle_deg`` [degree] 0 to 45; a stack is one block with the sum of the angles. ``tolerance_deg``
    [degree] how far the angle may be off, 0 to 10: rectangular, each block for itself.

    Raises BadInput if a field is not finite or out of its range, or there is no axis of blocks.
    """

    angle_deg: FloatArray
    tolerance_deg: FloatArray

    def __post_init__(self) -> None:
        angle = finite("angle_deg", self.angle_deg, low=0, high=45, unit="degrees")
        tolerance = finite("tolerance_deg", self.tolerance_deg, low=0, high=10, unit="degrees")
        angle, tolerance = together(angle_deg=angle, tolerance_deg=tolerance)
        if angle.ndim == 0 or angle.shape[-1] == 0:
            raise BadInput("angle_deg", "holds no blocks", "Give at least one block on the last axis")
        object.__setattr__(self, "angle_deg", angle)
        object.__setattr__(self, "tolerance_deg", tolerance)


def pitch_from_blocks(
    *,
    high_end: ArrayLike,
    blocks: Blocks,
    bubble: Bubble,
    turned: ArrayLike = False,
    belief: Belief | None = None,
) -> Estimate:
    """Return the pitch from which end of the bubble was high on each block.

    Parameters
    ----------
    high_end : array_like of str, shape (..., k) [words]
        What the bubble said on each of k blocks: "rear", "front" or "level"; "not looked" to fill up a row.
    blocks : Blocks, each field shape (..., k) [degree]
        The blocks.
    bubble : Bubble, each field shape (...) [degree]
        The bubble that stood on them.
    turned : array_like of bool, shape (..., k) [yes or no]
        The bubble was turned end for end on this block; the words stay those of the machine's ends.
    belief : Belief, each field shape (...) [degree]
        What was thought of the pitch before; None if nothing, as is usual with blocks on both sides.

    Returns
    -------
    Estimate, each field shape (...) [degree]
        Mean, 95 % interval, budget; ``outcome`` as in ``instruments_looks.LOOK_OUTCOMES``. If all blocks say the same
        side and there is no belief, the angle is that limit and its uncertainty is that of any angle.

    Raises
    ------
    BadInput
        If a word is unknown, a number is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    The blocks' tolerance is ``budget.zero_deg``, the bubble's own error ``budget.accuracy_deg``. A block tried twice
    keeps its error: its tolerance is widened by the root of the tries so that they do not average it. Roll turns a
    block that is not straight by little: 0.02 degree at 3 degrees of misalignment and 0.3 of roll, not counted.

    Examples
    --------
    >>> bubble = Bubble(sensitivity_deg=0.1, own_error_deg=0, alignment_deg=0, repeat_deg=0)
    >>> blocks = Blocks(angle_deg=[6.0, 7.0], tolerance_deg=0)
    >>> pitch = pitch_from_blocks(high_end=["rear", "front"], blocks=blocks, bubble=bubble)
    >>> float(pitch.angle_deg), float(pitch.low_deg), float(pitch.u_deg)  # doctest: +NUMBER
    (6.50, 6.12, 0.231)

    References
    ----------
    Rectangular distribution: JCGM 100:2008 (GUM), 4.3.7. Derived in DEVELOPERS.md, Geometry.
    """
    words = np.asarray(high_end)
    if not np.isin(words, (*HIGH_ENDS_ALONG, NOT_LOOKED)).all():
        raise BadInput("high_end", "names no end of a block", f"Give {', '.join(HIGH_ENDS_ALONG)}, or {NOT_LOOKED}")
    limits = bubble_limits(words, sensitivity_deg=bubble.sensitivity_deg[..., None])
    angle, low, high, looked, turn = together(
        angle_deg=blocks.angle_deg,
        low_deg=limits.low_deg,
        high_deg=limits.high_deg,
        looked=words != NOT_LOOKED,
        turned=flags("turned", turned),
    )
    tries = ((angle[..., :, None] == angle[..., None, :]) & looked[..., None, :]).sum(axis=-1)
    laid = _laid_on(bubble, angle)
    budget = Budget(
        alignment_deg=laid.alignment_deg,
        repeat_deg=laid.repeat_deg,
        accuracy_deg=laid.accuracy_deg,
        zero_deg=standard_from_limit(blocks.tolerance_deg, "rectangular") * np.sqrt(np.maximum(tries, 1)),
    )
    return weigh_looks(low_deg=angle + low, high_deg=angle + high, budget=budget, turned=turn, belief=belief)


def _laid_on(bubble: Bubble, angle: FloatArray) -> Budget:
    """What laying the bubble on a block adds; the pitch is near the block's angle when it matters."""
    one_look = Bubble(
        sensitivity_deg=bubble.sensitivity_deg[..., None],
        own_error_deg=bubble.own_error_deg[..., None],
        alignment_deg=bubble.alignment_deg[..., None],
        repeat_deg=bubble.repeat_deg[..., None],
    )
    return bubble_budget(bubble=one_look, along=True, pitch_deg=angle)
