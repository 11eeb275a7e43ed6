"""In words: what would decide a survey, how to prove it, and whether it can be proven after turning."""

import math
from collections.abc import Mapping
from typing import Any

from collection.arrays.surveys_means import means_of
from collection.arrays.surveys_remedies import ProofFound, RemedyFound, proof_of, remedy_of
from collection.arrays.surveys_results import Assessment
from collection.models import Spec

_NUMBERS = ("no", "one", "two", "three", "four")

_RULE = "the certificate rule"
#: Remedies whose words say all about the feet: before turning they are seen to anyway.
_WITH_FEET = ("feet", "turn", "turn_and_better", "none")
#: What another kind than a level can do for a surer answer.
KIND_REMEDIES = {
    "bubble": "A bubble tells little: read {way} with a digital level, or look more often, end for end.",
    "blocks": "Use two blocks closer together {way}, one just below and one just above, or a digital level.",
    "vial": "Read {way} with a digital level: with each such pair the vial is learned better, too.",
    "watch": "A watch is too slow: film the ball and count frames, or use a digital level.",
    "film": "Let the ball roll again {way}, a few times, or use a digital level.",
    "level": "Read {way} again, end for end and at other spots.",
}


def decides_words(remedy: RemedyFound) -> str:
    """Return what would decide a verdict, in a few words."""
    first = "Measure the gap, then " if remedy.checks_feet and remedy.does not in _WITH_FEET else ""
    times, better = _times(remedy.along, remedy.across), _better(remedy.accuracy_deg)
    again = f"{times}{', end for end' if remedy.end_for_end else ''}"
    then = f", then read {times} more" if times else " first"
    words = {
        "feet": "measure the gap under the light foot, or see that there is none",
        "again": f"read {times} more, at other spots{', end for end' if remedy.end_for_end else ''}",
        "end_for_end": f"read afresh, end for end: {times}",
        "zero": f"check the level’s zero{then}",
        "square": f"read afresh against a square edge, end for end: {times}",
        "better": f"read with {better}, against a square edge, end for end: {times}",
        "turn": f"it lies too near the limit: turn the legs toward the middle, then read {again}",
        "turn_and_better": f"bring it to the middle by {better}, then read {again}, against a square edge",
        "none": "no reading that can be had decides: this tolerance needs a better level",
    }[remedy.does]
    return _capital(first + words)


def daily_words(remedy: RemedyFound) -> str:
    """Return how likely a remedy is to decide, and how sure pitch and roll are afterwards."""
    return (
        f"That decides in {remedy.chance * 100:.0f} % of cases. Pitch is then known to ± {remedy.u_pitch_deg:.2f}°, "
        f"roll to ± {remedy.u_roll_deg:.2f}° (one standard uncertainty)."
    )


def certificate_line(*, found: Assessment, inputs: Mapping[str, Any], spec: Spec) -> str:
    """Return how to prove a machine in spec that is not proven, or whether that can be done after turning; or ""."""
    machine = found.machine
    if machine.verdict == "out":
        proof = proof_of(found=found, inputs=inputs, spec=spec)
        return proof_words(proof) if proof else ""
    if machine.verdict != "in" or machine.certificate != "not_proven":
        return ""
    remedy = remedy_of(found=found, inputs=inputs, spec=spec, certificate=True)
    if remedy is None:
        return f"To prove it: {kind_words(found=found, inputs=inputs)}" if found.feet_checked else ""
    words = decides_words(remedy)
    return f"To prove it: {words[:1].lower()}{words[1:]}. That decides in {remedy.chance * 100:.0f} % of cases."


def proof_words(proof: ProofFound) -> str:
    """Return whether the certificate rule can be met after turning, and what would do if not."""
    times = _times(proof.along, proof.across, more=False)
    if proof.does == "as_now":
        return f"After turning to the middle, as many readings as now ({times}) can prove it by {_RULE}."
    if proof.does in ("again", "end_for_end", "zero", "square"):
        how = {"square": " against a square edge", "zero": " after a zero check"}.get(proof.does, "")
        ends = ", end for end" if proof.end_for_end else ""
        return f"After turning to the middle, {times}{ends}{how}, with the gap measured, can prove it by {_RULE}."
    unit = " mm" if proof.weakest == "gap" else "°"
    cannot = f"This level cannot prove ±{proof.tolerance:g}{unit} of {proof.weakest} by {_RULE}"
    if proof.does == "better":
        return f"{cannot}: {_better(proof.accuracy_deg)} could, with {times}, end for end against a square edge."
    return f"{cannot}, and no better one that can be had would: the tolerance is too narrow."


def kind_words(*, found: Assessment, inputs: Mapping[str, Any]) -> str:
    """Return what to do for a surer answer, by what the less sure of pitch and roll was read with."""
    judged = found.judged
    direction = "along" if judged["pitch"].chance < judged["roll"].chance else "across"
    means = means_of(inputs, direction)
    kind = means["kind"]
    if kind == "ball":
        kind = "watch" if direction == "along" and not means["film_hz"] else "film"
    return KIND_REMEDIES.get(kind, KIND_REMEDIES["level"]).format(way=direction)


def _better(accuracy_deg: float) -> str:
    """A level that would do, its limit rounded down to what makers state."""
    return f"a level stated ±{math.floor(accuracy_deg * 100 + 1e-9) / 100:.2f}° or better"


def _times(along: int, across: int, more: bool = True) -> str:
    """How often: "along once and across twice"; ``more`` False: "one along and two across"."""
    if not more:
        return f"{_number(along)} along and {_number(across)} across"
    often = {1: "once", 2: "twice"}
    asked = [
        f"{way} {often.get(count, f'{count} times')}" for way, count in (("along", along), ("across", across)) if count
    ]
    return " and ".join(asked)


def _number(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
