"""Doors for yes/no arrays and for arrays that must fit together; the types of flags, codes and counts."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from leveling.errors import BadInput

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


def flags(name: str, value: ArrayLike) -> BoolArray:
    """Return ``value`` as yes/no entries; a word or a number is not taken for a yes.

    Parameters
    ----------
    name : str, scalar [words]
        The argument's name, for the error.
    value : array_like of bool, shape (...) [yes or no]
        Entries to check.

    Returns
    -------
    ndarray of bool, shape (...) [yes or no]
        The same entries.

    Raises
    ------
    BadInput
        If anything is not True or False.

    Examples
    --------
    >>> flags("along", [True, False]).tolist()
    [True, False]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    try:
        array = np.asarray(value)
    except ValueError as error:
        raise BadInput(name, "has rows of different length", "Give True or False for each entry") from error
    if array.size == 0:
        return array.astype(np.bool_)
    if array.dtype != np.bool_:
        raise BadInput(name, "is not yes or no", "Give True or False for each entry")
    return array


def together(**arrays: NDArray[Any]) -> tuple[NDArray[Any], ...]:
    """Return the arrays stretched to one common shape.

    Parameters
    ----------
    **arrays : ndarray, shape (...) [any unit]
        Arrays under their argument names.

    Returns
    -------
    tuple of ndarray, each shape (...) [any unit]
        Read-only views in the same order, all of the common shape.

    Raises
    ------
    BadInput
        If the shapes do not fit together; it names all of them.

    Examples
    --------
    >>> [a.shape for a in together(tilt_deg=np.zeros((5, 2)), along=np.array([True, False]))]
    [(5, 2), (5, 2)]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    try:
        return tuple(np.broadcast_arrays(*arrays.values()))
    except ValueError as error:
        shapes = ", ".join(f"{name} {array.shape}" for name, array in arrays.items())
        raise BadInput(next(iter(arrays)), f"does not fit the others: {shapes}", "Give matching shapes") from error
