"""The parts of a slope's uncertainty: which of them another reading, another way of reading or another level cures.

misalignment, laying down again     a few more readings average them; a square edge cures the first
rounding that comes back            a finer display, or another spot
zero                                the level turned end for end, or a zero check
accuracy                            only another level
feet                                the gap under the light foot, measured
"""

from dataclasses import dataclass, field, fields

import numpy as np

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, together
from leveling.instruments import Budget
from leveling.playfields import UNKNOWN_U_DEG, Slope
from leveling.verdicts_shapes import Spread, even_together


def _none() -> FloatArray:
    return np.zeros(())


@dataclass(frozen=True)
class Parts:
    """Why the mean of some tilts is not exact: standard uncertainties, each field shape (...) [degree], 0 if not given.

    Attributes: ``readings`` [count] tilts in the mean, 0 or more; with 0 nothing is known and the rest does not count.
    ``alignment_deg`` the level not square. ``repeat_deg`` laying it down again, with the rounding that averages.
    ``rounding_deg`` the rounding that comes back. ``zero_deg`` and ``accuracy_deg`` the instrument's own.
    ``feet_deg`` what an uncertain gap under the light foot adds.

    Raises BadInput if a field is negative or not finite.
    """

    readings: FloatArray
    alignment_deg: FloatArray = field(default_factory=_none)
    repeat_deg: FloatArray = field(default_factory=_none)
    rounding_deg: FloatArray = field(default_factory=_none)
    zero_deg: FloatArray = field(default_factory=_none)
    accuracy_deg: FloatArray = field(default_factory=_none)
    feet_deg: FloatArray = field(default_factory=_none)

    def __post_init__(self) -> None:
        names = [item.name for item in fields(self)]
        for name in names:
            high = 1e6 if name == "readings" else 90
            object.__setattr__(self, name, finite(name, getattr(self, name), low=0, high=high))
        stretched = together(**{name: getattr(self, name) for name in names})
        for name, value in zip(names, stretched, strict=True):
            object.__setattr__(self, name, value)

    @property
    def known(self) -> BoolArray:
        """At least one tilt was taken [yes or no]."""
        return self.readings > 0

    @property
    def u_own_deg(self) -> FloatArray:
        """The parts that the same level, laid down another time in another way, would not share [degree]."""
        squares = (self.alignment_deg**2, self.repeat_deg**2, self.rounding_deg**2, self.zero_deg**2, self.feet_deg**2)
        return np.sqrt(sum(squares))

    @property
    def u_deg(self) -> FloatArray:
        """All parts together [degree]; where nothing was read, that of an angle of which nothing is known."""
        return np.where(self.known, np.hypot(self.u_own_deg, self.accuracy_deg), UNKNOWN_U_DEG)

    @property
    def spread(self) -> Spread:
        """The shape of the error [degree]: accuracy as one even part, misalignment and rounding as the other."""
        line = even_together(self.alignment_deg / np.maximum(self.readings, 1) ** 0.25, self.rounding_deg)
        return Spread(
            u=self.u_deg,
            even=np.where(self.known, self.accuracy_deg, 0.0),
            even_too=np.where(self.known, line, 0.0),
        )


def parts_of(slope: Slope, budget: Budget) -> Parts:
    """Return the parts of a slope's uncertainty.

    Parameters
    ----------
    slope : Slope, each field shape (...) [degree]
        Pitch or roll, as ``playfields.fit_playfield`` gives it.
    budget : Budget, each field shape (...) [degree]
        Of one of its tilts; tilts taken in different ways are told apart as well as one budget can.

    Returns
    -------
    Parts, each field shape (...) [degree]
        They add in squares to the slope's uncertainty.

    Raises
    ------
    BadInput
        If the shapes do not fit.

    Notes
    -----
    Readings that scatter more than their budget explains widen ``repeat_deg``.

    Examples
    --------
    >>> from leveling.playfields import fit_playfield
    >>> one = Budget(alignment_deg=0.06, repeat_deg=0.02, accuracy_deg=0.05)
    >>> fit = fit_playfield(tilt_deg=[0.1] * 4, along=[False] * 4, budget=one)
    >>> parts = parts_of(fit.roll, one)
    >>> float(parts.alignment_deg), float(parts.repeat_deg), float(parts.accuracy_deg)  # doctest: +NUMBER
    (0.03, 0.01, 0.05)

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2 and 5.2.2.
    """
    readings, fresh, rounding, common, alignment, accuracy = together(
        readings=np.asarray(slope.readings, dtype=np.float64),
        u_fresh_deg=slope.u_fresh_deg,
        u_rounding_deg=slope.u_rounding_deg,
        u_common_deg=slope.u_common_deg,
        alignment_deg=budget.alignment_deg,
        accuracy_deg=budget.accuracy_deg,
    )
    known = readings > 0
    line = np.minimum(alignment / np.sqrt(np.maximum(readings, 1)), fresh)
    own = np.minimum(accuracy, common)
    return Parts(
        readings=readings,
        alignment_deg=np.where(known, line, 0.0),
        repeat_deg=np.where(known, np.sqrt(np.maximum(fresh**2 - line**2, 0)), 0.0),
        rounding_deg=np.where(known, rounding, 0.0),
        zero_deg=np.where(known, np.sqrt(np.maximum(common**2 - own**2, 0)), 0.0),
        accuracy_deg=np.where(known, own, 0.0),
    )
