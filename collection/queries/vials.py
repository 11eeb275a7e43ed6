"""Reads about vials: the pairs that count, what they taught, where the bubble belongs."""

import datetime
from dataclasses import dataclass, field
from typing import Any

from django.db import models
from django.db.models import F, Q, Subquery

from collection.arrays.vials import (
    AngleRead,
    PlaceFound,
    angle_at,
    budget_of,
    curve_of,
    learned_vial,
    pair_inputs,
    pair_tilt_deg,
    place_of,
    position_lines,
    state_of,
)
from collection.models import Instrument, InstrumentEvent, Machine, Spec, VialPair
from collection.presets import K95
from collection.queries.instruments import place_of as site_of
from collection.queries.instruments import zero_of


@dataclass(frozen=True)
class Known:
    """What is known of a vial from some pairs, or from the manual of its machine without any."""

    vial: Instrument
    pairs: list[VialPair]
    learned: Any = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "learned", learned_vial(vial=self.vial, pairs=self.pairs))

    @property
    def state(self) -> str:
        """learned, no_pairs, too_close, wrong_way or disagree."""
        return state_of(self.learned)

    @property
    def is_learned(self) -> bool:
        """Whether the vial can be read."""
        return self.state == "learned"

    @property
    def by_manual(self) -> bool:
        """Whether all that is known stands in the manual."""
        return self.is_learned and not self.pairs

    @property
    def deg_per_line(self) -> float:
        """Degrees per line."""
        return float(self.learned.line.slope)

    @property
    def spread_deg_per_line(self) -> float:
        """Half of the 95 % interval of the degrees per line."""
        return K95 * float(self.learned.line.u_slope)

    @property
    def middle(self) -> AngleRead:
        """The angle at which the bubble stands in the middle."""
        return angle_at(self.learned, 0.0)

    def at(self, lines: float) -> AngleRead:
        """What a bubble says that stands there."""
        return angle_at(self.learned, lines)

    def place(self, wanted_deg: float) -> PlaceFound:
        """Where the bubble belongs."""
        return place_of(self.learned, wanted_deg)


@dataclass(frozen=True)
class PairRow:
    """One pair as a list shows it. ``counts`` is why it does not: left_out, moved, or "" if it does."""

    pair: VialPair
    lost: str
    left_out: VialPair | None
    u_deg: float


@dataclass(frozen=True)
class VialPage:
    """A vial with all its pairs, newest first, and what those that count teach."""

    known: Known
    rows: list[PairRow]
    events: list[InstrumentEvent]
    spec: Spec
    zone: str

    @property
    def wanted_deg(self) -> float:
        """The angle that its machine should have in the vial's direction."""
        return wanted_of(self.known.vial, self.spec)

    @property
    def wanted_place(self) -> PlaceFound:
        """Where the bubble belongs for it."""
        return self.known.place(self.wanted_deg)

    @property
    def curve(self) -> list[tuple[float, float, float]]:
        """The learned line for the chart."""
        return curve_of(self.known.learned)

    @property
    def points(self) -> list[tuple[float, float, float]]:
        """The pairs that count, for the chart: place, angle and its u."""
        return [(row.pair.position_lines, row.pair.tilt_deg, row.u_deg) for row in self.rows if not row.lost]

    @property
    def chart_label(self) -> str:
        """The chart in one sentence, for people who do not see it."""
        count = len(self.points)
        return f"Angle against the bubble’s place, {count} pair{'' if count == 1 else 's'} and the line through them"


@dataclass(frozen=True)
class Strip:
    """Where the bubble belongs, for paper; lengths in lines, positive = toward the rear or right.

    ``problem`` says why nothing may be printed, "" if all is well.
    """

    known: Known
    wanted_deg: float
    tolerance_deg: float
    place: PlaceFound

    @property
    def problem(self) -> str:
        """A word of PLACES, or why the vial is not known; "" if the bubble has a place."""
        if not self.known.is_learned:
            return self.known.state
        return "" if self.place.state == "on" else self.place.state

    @property
    def band_lines(self) -> float:
        """How far the bubble may stand to either side for the angle to be within its tolerance."""
        return self.tolerance_deg / self.known.deg_per_line

    @property
    def spread_lines(self) -> float:
        """Half of the interval that holds the right place with 95 %."""
        return K95 * self.place.u_lines


def wanted_of(vial: Instrument, spec: Spec) -> float:
    """Return the angle that a vial's machine should have in its direction [degree]: pitch along, level across."""
    return spec.pitch_deg if vial.direction == "along" else 0.0


def pairs_of(*, vial: Instrument, at: datetime.datetime | None = None) -> list[VialPair]:
    """Return the pairs of a vial that count, oldest first: not left out, and read since it was last moved or refitted.

    ``at`` asks what counts for a reading of that time: pairs before and after it, while the vial was not moved between.
    """
    rows = _pairs(vial).filter(supersedes__isnull=True, left_out_by__isnull=True)
    moves = _moves(vial)
    if at is not None:
        next_move = Subquery(moves.filter(happened_at__gt=at).order_by("happened_at").values("happened_at")[:1])
        rows = rows.annotate(next_move=next_move).filter(Q(next_move__isnull=True) | Q(read_at__lte=F("next_move")))
        moves = moves.filter(happened_at__lte=at)
    last = Subquery(moves.order_by("-happened_at").values("happened_at")[:1])
    rows = rows.annotate(moved_at=last).filter(Q(moved_at__isnull=True) | Q(read_at__gt=F("moved_at")))
    return list(rows.order_by("read_at", "id").fetch_mode(models.FETCH_RAISE))


def vials_of(*, machine: Machine) -> list[Instrument]:
    """Return the live vials that are built into a machine."""
    rows = Instrument.objects.for_org(machine.organization_id).filter(machine=machine, archived_at__isnull=True)
    return list(rows.order_by("direction", "name", "id").fetch_mode(models.FETCH_RAISE))


def spec_of(vial: Instrument) -> Spec:
    """Return what the machine of a vial should read now."""
    rows = Spec.objects.for_org(vial.organization_id).filter(machine_id=vial.machine_id)
    return rows.order_by("-created_at", "-id").fetch_mode(models.FETCH_RAISE)[0]


def vial_page(*, vial: Instrument) -> VialPage:
    """Return a vial with every pair, each with the person who read it and why it does not count if so."""
    every = _pairs(vial).select_related("level", "created_by").order_by("-read_at", "-id")
    rows = list(every.fetch_mode(models.FETCH_RAISE))
    events = list(
        _moves(vial).select_related("created_by").order_by("-happened_at", "-id").fetch_mode(models.FETCH_RAISE)
    )
    out = {row.supersedes_id: row for row in rows if row.supersedes_id}
    read = [row for row in rows if not row.supersedes_id]
    u_deg = [float(u) for u in budget_of(read).u_deg] if read else []
    moved_at = events[0].happened_at if events else None
    told = [PairRow(row, _lost(row, out, moved_at), out.get(row.pk), u) for row, u in zip(read, u_deg, strict=True)]
    counting = [row.pair for row in reversed(told) if not row.lost]
    return VialPage(Known(vial, counting), told, events, spec_of(vial), site_of(instrument=vial)[0])


def known_of(*, vial: Instrument) -> Known:
    """Return what the pairs that count teach of a vial."""
    return Known(vial, pairs_of(vial=vial))


def known_with(
    *, vial: Instrument, level: Instrument, shown: float, unit: str, high_end: str, lines: float, side: str,
    now: datetime.datetime,
) -> Known:  # fmt: skip
    """Return what a vial would be known as with one more pair; nothing is stored."""
    inputs = pair_inputs(vial=vial, level=level, zero=zero_of(instrument=level, at=now), at=now)
    tilt_deg = pair_tilt_deg(shown=shown, unit=unit, high_end=high_end, inputs=inputs)
    more = VialPair(vial=vial, position_lines=position_lines(lines, side), tilt_deg=tilt_deg, inputs=inputs)
    return Known(vial, [*pairs_of(vial=vial), more])


def strip_of(*, vial: Instrument) -> Strip:
    """Return where the bubble of a vial belongs for what its machine should read."""
    spec, known = spec_of(vial), known_of(vial=vial)
    wanted_deg = wanted_of(vial, spec)
    tolerance_deg = spec.pitch_tolerance_deg if vial.direction == "along" else spec.roll_tolerance_deg
    return Strip(known, wanted_deg, tolerance_deg, known.place(wanted_deg))


def _pairs(vial: Instrument) -> Any:
    return VialPair.objects.for_org(vial.organization_id).filter(vial=vial)


def _moves(vial: Instrument) -> Any:
    """What ended all that pairs before it taught."""
    return InstrumentEvent.objects.for_org(vial.organization_id).filter(instrument=vial, kind="repaired")


def _lost(pair: VialPair, out: dict[Any, VialPair], moved_at: datetime.datetime | None) -> str:
    if pair.pk in out:
        return "left_out"
    return "moved" if moved_at is not None and pair.read_at <= moved_at else ""
