"""How the uncertainty of a slope came about, as the page of a survey opens it: its parts, and which one dominates."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from collection import presets
from collection.arrays.surveys_means import means_of
from collection.arrays.surveys_results import Assessment, Share, SlopeFound, TiltUsed

#: The parts of a reading's uncertainty: heading, and what it is. Another kind than a level has words of its own.
_PARTS = {
    "resolution": ("Display", "rounding of what it shows"),
    "alignment": ("Askew", "the level not square on the board"),
    "repeat": ("Laying", "laying it down again"),
    "wave": ("Board", "the board’s own wave, since one spot is not the whole board"),
    "accuracy": ("Level", "its stated accuracy, the same in all its readings"),
    "zero": ("Zero", "what is left of its zero error"),
}
_PARTS_OF = {
    "vial": {
        "resolution": ("Bubble", "reading its place between the lines"),
        "repeat": ("Bubble", "reading its place between the lines"),
        "accuracy": ("Vial", "what it was learned from, the same in all its readings"),
        "zero": ("Vial’s middle", "what it was learned from"),
    },
    "ball": {
        "alignment": ("Askew", "mark and line not straight along the board"),
        "repeat": ("Each roll", "timing or ruler, and letting it go"),
        "accuracy": ("Run", "what all rolls share, its length above all"),
    },
}
#: What makes a slope unsure, by its part, and what to do about it.
DOMINANT = {
    "alignment": ("the level may lie askew", "Butt it against a square edge, use a longer base, or lay it down afresh"),
    "repeat": ("each laying down differs", "Lay it down afresh a few more times"),
    "wave": ("one spot is not the whole board", "Read at more spots: their mean comes closer"),
    "rounding": ("the display rounds", "Use a level with a finer display, or read at another spot too"),
    "zero": ("the level’s zero is not sure", "Turn it end for end at each reading, or check its zero"),
    "accuracy": ("the level’s stated accuracy", "Only a better level helps; all machines set with this one are alike"),
    "feet": ("the gap under a light foot is not sure", "Measure the gap, or make all four feet bear"),
}
#: The same where it is another thing than a level that was read with.
_DOMINANT_OF = {
    "bubble": {
        "rounding": ("a bubble shows a side, no number", "Read with a digital level, or with angle blocks along"),
        "accuracy": ("the bubble’s own error", "Turn it end for end: that takes the error off"),
    },
    "blocks": {
        "rounding": ("the blocks are far apart", "Use two closer together, one just below and one just above"),
        "accuracy": ("the bubble’s own error", "Turn it end for end, or use a better bubble"),
        "repeat": ("the blocks and each laying down", "Look again, or use blocks of a better maker"),
    },
    "vial": {
        "rounding": ("the bubble is read in parts of a line", "Read it twice, or with a digital level"),
        "accuracy": ("what the vial was learned from", "Add more pairs of bubble and level, or use a better level"),
        "zero": ("what the vial was learned from", "Add more pairs of bubble and level"),
    },
    "ball": {
        "repeat": ("the timing or the ruler", "Film the ball and count frames, or let it roll a few more times"),
        "rounding": ("frames are counted whole", "Film faster, or let it roll over a longer run"),
        "accuracy": ("the length of the run", "Measure the run again"),
        "alignment": ("the run may lie askew", "Measure mark and line from the same rail"),
    },
}  # fmt: skip


@dataclass(frozen=True)
class SlopeWorking:
    """Pitch or roll as the board read, the tilts behind it, what it was read with, and what makes it unsure.

    ``kept`` is what the survey keeps of the instrument of this direction, and of its zero.
    """

    name: str
    slope: SlopeFound
    tilts: list[TiltUsed]
    kept: Mapping[str, Any]
    kind: str
    dominant: str

    @property
    def has_looks(self) -> bool:
        """Whether a bubble was looked at, so that each reading has limits and no budget of its own."""
        return self.kind in ("bubble", "blocks")

    @property
    def has_number(self) -> bool:
        """Whether a level showed a number, with a zero of its own."""
        return self.kind in ("digital_level", "inclinometer")

    @property
    def believed_deg(self) -> float | None:
        """What was believed of the slope before a look, standard; None where nothing was."""
        return presets.U_ROLL_BELIEVED_DEG if self.has_looks and self.name == "roll" else None

    @property
    def columns(self) -> list[tuple[str, str]]:
        """The parts that add anything: heading and what it is."""
        words = _PARTS | _PARTS_OF.get(self.kind, {})
        return [words[name] for name in self._counting]

    @property
    def rows(self) -> list[tuple[TiltUsed, list[float]]]:
        """Each tilt with its parts, in the order of the columns [degree]."""
        return [(tilt, [getattr(tilt, f"{name}_deg") for name in self._counting]) for tilt in self.tilts]

    @property
    def _counting(self) -> list[str]:
        return [name for name in _PARTS if any(getattr(tilt, f"{name}_deg") for tilt in self.tilts)]


def workings_of(*, found: Assessment, inputs: Mapping[str, Any]) -> list[SlopeWorking]:
    """Return how pitch and roll came about."""
    return [
        _working(found, inputs, *one)
        for one in (("pitch", "along", found.pitch), ("roll", "across", found.roll))
    ]  # fmt: skip


def dominant_words(shares: tuple[Share, ...], kind: str) -> str:
    """Return what makes a slope most unsure, its share, and what to do about it; "" where nothing is known."""
    if not shares:
        return ""
    most = shares[0]
    what, remedy = _DOMINANT_OF.get(kind, {}).get(most.name, DOMINANT[most.name])
    return f"The largest part, {most.share * 100:.0f}\u00a0%: {what}. {remedy}."


def _working(found: Assessment, inputs: Mapping[str, Any], name: str, way: str, slope: SlopeFound) -> SlopeWorking:
    kept = (inputs.get("across") if way == "across" else None) or inputs
    kind = means_of(inputs, way)["kind"]
    tilts = [tilt for tilt in found.tilts if tilt.reading.direction == way]
    return SlopeWorking(name, slope, tilts, kept, kind, dominant_words(found.shares[way], kind))
