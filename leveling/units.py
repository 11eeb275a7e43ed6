"""Units at the door: slopes, lengths and turns. Inside the engine: mm and, for formulas, radians.

slope gradient = tan(angle)        1 mm/m = 0.0572958 degree        1 in = 25.4 mm exactly
"""

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, one_of

MM_PER_INCH = 25.4
#: International avoirdupois pound, exact: international yard and pound agreement of 1959.
KG_PER_LB = 0.45359237

SLOPE_UNITS = ("deg", "mm_per_m", "in_per_ft", "percent")
_GRADIENT_PER_UNIT = {"mm_per_m": 1e-3, "in_per_ft": 1 / 12, "percent": 1e-2}

LENGTH_UNITS = ("mm", "in")

#: Height per full turn of the leveler, mm. 3/8-16 UNC: ASME B1.1, 16 threads per inch; M10x1.5: ISO 261.
LEAD_MM = {"3/8-16 UNC": MM_PER_INCH / 16, "M10x1.5": 1.5}


def slope_deg(value: ArrayLike, unit: str) -> FloatArray:
    """Return slopes in degrees from the unit that was read.

    Parameters
    ----------
    value : array_like, shape (...) [unit]
        Slopes; below 90 if ``unit`` is "deg".
    unit : str, scalar [words]
        "deg", "mm_per_m", "in_per_ft" or "percent".

    Returns
    -------
    ndarray, shape (...) [degree]
        Angles from level, with the sign of ``value``.

    Raises
    ------
    BadInput
        If a value is not finite, an angle is 90 degrees or more, or the unit is unknown.

    Examples
    --------
    >>> float(slope_deg(1.0, "mm_per_m"))  # doctest: +NUMBER
    0.0572958
    >>> slope_deg([6.5, -0.3], "deg").tolist()
    [6.5, -0.3]

    References
    ----------
    Definition of gradient, derived in DEVELOPERS.md, Geometry.
    """
    one_of("unit", unit, SLOPE_UNITS)
    if unit == "deg":
        return finite("value", value, low=-89.999, high=89.999, unit="degrees")
    return np.degrees(np.arctan(finite("value", value, unit=unit) * _GRADIENT_PER_UNIT[unit]))


def slope_in(angle_deg: ArrayLike, unit: str) -> FloatArray:
    """Return angles in the slope unit that someone wants to see.

    Parameters
    ----------
    angle_deg : array_like, shape (...) [degree]
        Angles from level, above -90 and below 90.
    unit : str, scalar [words]
        "deg", "mm_per_m", "in_per_ft" or "percent".

    Returns
    -------
    ndarray, shape (...) [unit]
        Slopes, with the sign of ``angle_deg``.

    Raises
    ------
    BadInput
        If an angle is not finite or is 90 degrees or more, or the unit is unknown.

    Examples
    --------
    >>> float(slope_in(0.0572958, "mm_per_m"))  # doctest: +NUMBER
    1.000

    References
    ----------
    Definition of gradient, derived in DEVELOPERS.md, Geometry.
    """
    one_of("unit", unit, SLOPE_UNITS)
    angle = finite("angle_deg", angle_deg, low=-89.999, high=89.999, unit="degrees")
    if unit == "deg":
        return angle
    return np.tan(np.radians(angle)) / _GRADIENT_PER_UNIT[unit]


def length_mm(value: ArrayLike, unit: str) -> FloatArray:
    """Return lengths in mm from mm or inches.

    Parameters
    ----------
    value : array_like, shape (...) [unit]
        Lengths.
    unit : str, scalar [words]
        "mm" or "in".

    Returns
    -------
    ndarray, shape (...) [mm]
        The same lengths.

    Raises
    ------
    BadInput
        If a length is not finite or the unit is unknown.

    Examples
    --------
    >>> float(length_mm(51.5, "in"))  # doctest: +NUMBER
    1308.10

    References
    ----------
    International inch, 25.4 mm exactly (NIST SP 811, 2008, Appendix B.8).
    """
    one_of("unit", unit, LENGTH_UNITS)
    return finite("value", value, unit=unit) * (MM_PER_INCH if unit == "in" else 1.0)


def length_in(length_mm: ArrayLike, unit: str) -> FloatArray:
    """Return lengths in the unit that someone wants to see.

    Parameters
    ----------
    length_mm : array_like, shape (...) [mm]
        Lengths.
    unit : str, scalar [words]
        "mm" or "in".

    Returns
    -------
    ndarray, shape (...) [unit]
        The same lengths.

    Raises
    ------
    BadInput
        If a length is not finite or the unit is unknown.

    Examples
    --------
    >>> float(length_in(25.4, "in"))
    1.0

    References
    ----------
    International inch, 25.4 mm exactly (NIST SP 811, 2008, Appendix B.8).
    """
    one_of("unit", unit, LENGTH_UNITS)
    return finite("length_mm", length_mm, unit="mm") / (MM_PER_INCH if unit == "in" else 1.0)
