"""One planted fault for each gap in a data sheet of the engine: (rule, tree, words of the fault)."""

import rules_engine as engine

_FILE = "leveling/turns.py"
SHEET = '''"""Turns."""


def lift_mm(turns, *, lead_mm):
    """Return the lift of some turns.

    Parameters
    ----------
    turns : array_like, shape (..., 4) [turn]
        Out is positive.
    lead_mm : float, scalar [mm]
        Height of one turn.

    Returns
    -------
    ndarray, shape (..., 4) [mm]
        Lift.

    Raises
    ------
    BadInput
        If a number is not finite.

    Examples
    --------
    >>> lift_mm(2, lead_mm=1.5)
    3.0

    References
    ----------
    Derived.
    """
    if turns is None:
        raise BadInput("turns", "is missing", "Give turns")
    return turns * lead_mm
'''
RESULT = '''"""Turns."""


@dataclass(frozen=True)
class Plan:
    """A plan, each field with the batch shape (...).

    ``lift_mm`` [mm] is the lift. Raises BadInput if it is not finite.
    """

    lift_mm: FloatArray

    def __post_init__(self):
        finite("lift_mm", self.lift_mm)
'''


def _sheet(old: str, new: str) -> dict[str, str]:
    assert old in SHEET
    return {_FILE: SHEET.replace(old, new)}


def _result(old: str, new: str) -> dict[str, str]:
    assert old in RESULT
    return {_FILE: RESULT.replace(old, new)}


_docs, _signs, _pure = engine.docstring_faults, engine.signature_faults, engine.purity_faults

FAULTS = (
    (_docs, _sheet('"""Turns."""', ""), "does not say what it is for"),
    (_docs, {_FILE: '"""Turns."""\n\n\ndef lift_mm(turns): ...'}, "lift_mm: no docstring"),
    (_docs, _sheet("turns : array_like, shape (..., 4) [turn]", "turns"), "argument turns is not documented"),
    (_docs, _sheet("turns : array_like, shape (..., 4) [turn]", "turns : array_like [turn]"), "turns has no shape"),
    (_docs, _sheet("lead_mm : float, scalar [mm]", "lead_mm : float, scalar"), "lead_mm has no [unit]"),
    (_docs, _sheet("lead_mm : float", "lead_mm, way : float"), "documents way, which is no argument"),
    (_docs, _sheet("ndarray, shape (..., 4) [mm]\n", "ndarray [mm]\n"), "Returns names no shape"),
    (_docs, _sheet("ndarray, shape (..., 4) [mm]\n", "ndarray, shape (..., 4)\n"), "Returns names no [unit]"),
    (_docs, _sheet("    Raises\n    ------\n", ""), "no Raises"),
    (_docs, _sheet("        raise BadInput(", "        raise TravelEnds("), "raises TravelEnds without saying so"),
    (_docs, _sheet(">>> ", ""), "no example that runs"),
    (_docs, _sheet("    Derived.\n", ""), "no References"),
    (_docs, _result("``lift_mm`` [mm] is the lift.", "[mm]"), "field lift_mm is not documented"),
    (_docs, _result("with the batch shape (...)", "a number"), "names no shape"),
    (_docs, _result(" [mm]", ""), "names no [unit]"),
    (_docs, _result(" Raises BadInput if it is not finite.", ""), "does not say what it raises"),
    (_docs, _result("    def __post_init__", "    def turns"), "turns does not say its [unit]"),
    (_signs, {_FILE: "def f(a, b, c): ..."}, "3 arguments by position"),
    (_signs, {_FILE: "def f(a, b, *, c, d, e, g, h): ..."}, "more than 6 arguments"),
    (_signs, {_FILE: "def f() -> tuple[int, int, int]: ..."}, "more than 2 results"),
    (_pure, _result("(frozen=True)", ""), "not frozen"),
    (_pure, {_FILE: "def f():\n    global seen\n    seen = 1"}, "a global that changes: seen"),
    (_pure, {_FILE: "def f(path):\n    return open(path)"}, "calls open"),
    (_pure, {_FILE: "def f():\n    return np.random.default_rng()"}, "np.random.default_rng"),
)

INNOCENT = (
    (_docs, {_FILE: SHEET}),
    (_docs, {_FILE: RESULT}),
    (_signs, {_FILE: "def f(a, b, *, c, d, e, g) -> tuple[int, int]: ..."}),
    (_pure, {_FILE: RESULT}),
    (_pure, {_FILE: "def f(rng: np.random.Generator):\n    return rng.normal()"}),
)
