"""Doors of the engine: every public function takes its arrays through here, so no NaN travels inside."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from leveling.errors import BadInput

FloatArray = NDArray[np.float64]


def finite(
    name: str,
    value: ArrayLike,
    *,
    low: float = -np.inf,
    high: float = np.inf,
    unit: str = "",
    above: bool = False,
) -> FloatArray:
    """Return ``value`` as finite float64 numbers inside a closed range.

    Parameters
    ----------
    name : str, scalar [words]
        The argument's name, for the error.
    value : array_like, shape (...) [unit]
        Numbers.
    low, high : float, scalar [unit]
        The allowed range, both ends included.
    unit : str, scalar [words]
        Unit shown in the error.
    above : bool, scalar [yes or no]
        Leave out ``low`` itself, for lengths that must not be zero.

    Returns
    -------
    ndarray, shape (...) [unit]
        The same numbers as float64.

    Raises
    ------
    BadInput
        If anything is not a number, not finite, or out of range.

    Examples
    --------
    >>> finite("base_mm", [1300, 1250], low=0, above=True, unit="mm").tolist()
    [1300.0, 1250.0]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise BadInput(name, "is not a number", f"Give numbers{_in(unit)}") from error
    if not np.isfinite(array).all():
        raise BadInput(name, "holds a value that is not finite", f"Give finite numbers{_in(unit)}")
    if (array < low).any() or (array > high).any() or (above and (array <= low).any()):
        raise BadInput(name, "is out of range", f"Give {_range(low, high, above)}{_in(unit)}")
    return array


def last_axis(name: str, array: FloatArray, size: int, meaning: str) -> FloatArray:
    """Return ``array`` if its last axis has ``size`` entries.

    Parameters
    ----------
    name : str, scalar [words]
        The argument's name, for the error.
    array : ndarray, shape (..., size) [any unit]
        Numbers already checked.
    size : int, scalar [count]
        Entries wanted on the last axis.
    meaning : str, scalar [words]
        What the entries are, for the error, such as "FL, FR, RL, RR".

    Returns
    -------
    ndarray, shape (..., size) [any unit]
        The same array.

    Raises
    ------
    BadInput
        If the last axis has another length.

    Examples
    --------
    >>> last_axis("heights_mm", np.zeros(4), 4, "FL, FR, RL, RR").shape
    (4,)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    if array.ndim == 0 or array.shape[-1] != size:
        raise BadInput(name, f"has shape {array.shape}", f"Give {size} on the last axis: {meaning}")
    return array


def one_of(name: str, value: str, choices: Sequence[str]) -> str:
    """Return ``value`` if it is one of the words in ``choices``.

    Parameters
    ----------
    name : str, scalar [words]
        The argument's name, for the error.
    value : str, scalar [words]
        The word to check.
    choices : sequence of str, shape (n,) [words]
        The words that are allowed.

    Returns
    -------
    str, scalar [words]
        The same word.

    Raises
    ------
    BadInput
        If the word is not among the choices.

    Examples
    --------
    >>> one_of("end", "front", ("front", "rear"))
    'front'

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    if value not in choices:
        raise BadInput(name, f"is {value!r}", f"Give one of: {', '.join(choices)}")
    return value


def _in(unit: str) -> str:
    return f" in {unit}" if unit else ""


def _range(low: float, high: float, above: bool) -> str:
    floor = f"more than {low:g}" if above else f"at least {low:g}"
    if np.isinf(low):
        return f"at most {high:g}"
    if np.isinf(high):
        return floor
    return f"{floor} and at most {high:g}"
