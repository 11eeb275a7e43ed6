"""Every page with a form, filled in so that it is taken, and where each of its fields is to be found afterwards."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.test import Client
from django.urls import reverse

from collection import models
from tests.collection.forms.test_hostile_posts import fields_of
from tests.collection.views.test_sent_twice import (
    AT_A_SITE,
    BAY,
    DROP,
    FLOOR,
    LEVEL,
    MACHINE,
    PLAN,
    SITE,
    SLOPE,
    SPEC,
    ZERO,
)  # fmt: skip
from tests.surveying import sent
from tests.worlds import TernTaproom

Found = Callable[[TernTaproom], Any]


@dataclass(frozen=True)
class Filled:
    """A page of the world's ``noun``, with what is typed over what it shows.

    ``numbers`` and ``texts`` say by field what the database holds of it now. ``query`` is how its address goes on;
    ``shown`` names the page that shows the form, if it is another one.
    """

    page: str
    noun: str
    typed: dict[str, str]
    numbers: dict[str, Found] = field(default_factory=dict)
    texts: dict[str, Found] = field(default_factory=dict)
    query: str = ""
    shown: str = ""

    def address(self, world: TernTaproom, page: str = "") -> str:
        """Where it is sent; or another page about the same thing."""
        return reverse(page or self.page, args=[getattr(world, self.noun).pk] if self.noun else []) + self.query

    def body(self, client: Client, world: TernTaproom) -> dict[str, str]:
        """What a person would send of it, and the server take."""
        page = fields_of(client.get(self.address(world, self.shown)).content.decode()).sent
        own = {"instrument": str(world.instrument.pk)} if self.page.startswith("survey") else {}
        return {name: value for name, value in {**page, **own, **self.typed}.items() if value is not LEFT_OUT}


#: A field that the filled page does not send.
LEFT_OUT = "(left out)"


def newest(table: type[Any], column: str, **which: Any) -> Found:
    """The newest row of a table."""
    return lambda world: getattr(table.objects.filter(**which).order_by("created_at").last(), column)


def own(noun: str, column: str) -> Found:
    """The world's own row, as it is stored now."""
    return lambda world: getattr(type(getattr(world, noun)).objects.get(pk=getattr(world, noun).pk), column)


def _newest(table: type[Any], *names: str, **renamed: str) -> dict[str, Found]:
    return {name: newest(table, column) for name, column in {**{n: n for n in names}, **renamed}.items()}


def _own(noun: str, *names: str, **renamed: str) -> dict[str, Found]:
    return {name: own(noun, column) for name, column in {**{n: n for n in names}, **renamed}.items()}


def _as_number(found: Found) -> Found:
    """A reading is kept as it was typed: what that says."""
    return lambda world: float(str(found(world)).split()[0].replace("\u2212", "-"))


def _leg(place: int, column: str, times: float = 1) -> Found:
    return lambda world: getattr(world.machine.legs.get(place=place), column) / times


_SIZES = ("track_front_mm", "track_rear_mm", "base_mm", "lead_mm")
_LEGS = {
    f"{leg}_{column}": _leg(place, column)
    for place, leg in enumerate(("FL", "FR", "RL", "RR"))
    for column in ("exposure_mm", "length_mm", "travel_mm", "pad_mm")
}
_OTHER = {"thread": "other", "lead_mm": "1.5"}
_READINGS = sent("", ("along", "6.0", "rear"), ("across", "0.3", "left"), gap_unit="mm", write_key="") | {
    "readings-0-turned_high_end": "rear", "readings-1-turned_high_end": "left",
}  # fmt: skip
del _READINGS["instrument"], _READINGS["write_key"]
_WEIGHED = {
    **_READINGS, "stance": "weighed", "weight_unit": "kg",
    "weight_fl": "30", "weight_fr": "30", "weight_rl": "30", "weight_rr": "30",
}  # fmt: skip


def _reading(place: int, turned: bool = False) -> Found:
    direction = ("along", "across")[place]
    return lambda world: (
        models.Survey.objects.order_by("created_at").last().readings.get(direction=direction, is_reversed=turned).number
    )


def _weight(place: int) -> Found:
    return _as_number(lambda world: models.Survey.objects.order_by("created_at").last().weights[place])


def _turns(place: int) -> Found:
    """A foot that was turned by nothing has no row."""
    turned = models.Adjustment.objects.filter(place=place).order_by("created_at")
    return lambda world: row.turns if (row := turned.all().last()) else 0.0


def _site_of_newest(world: TernTaproom) -> str:
    """Where the newest machine stands; nowhere, if no site was named."""
    bay = models.Machine.objects.order_by("created_at").last().bay  # type: ignore[union-attr]
    return bay.floor.site.name if bay else ""


_SHOWN = {f"readings-{place}-value": _reading(place) for place in (0, 1)}
_TURNED = {f"readings-{place}-turned_value": _reading(place, turned=True) for place in (0, 1)}
_WEIGHTS = {f"weight_{leg}": _weight(place) for place, leg in enumerate(("fl", "fr", "rl", "rr"))}
_GAP = {"gap": newest(models.Survey, "gap_mm")}
_SLOPES = {
    f"readings-{place}-amount": newest(models.FloorReading, "slope_deg", place=place) for place in (0, 1)
}  # fmt: skip
_LEVEL = {"resolution": "resolution_deg", "accuracy": "accuracy_deg"}
_VIAL = ("reach_lines", "deg_per_line", "middle_deg")
_LEVEL_NAMES = ("base_mm", "alignment_deg", "repeat_deg")
_KINDS: dict[str, tuple[dict[str, str], dict[str, str]]] = {
    "bubble": (
        {"sensitivity_deg": "0.1", "own_error_deg": "0.1", "alignment_deg": "1", "repeat_deg": "0.03"},
        {"sensitivity_deg": "sensitivity_deg", "own_error_deg": "accuracy_deg", "alignment_deg": "alignment_deg",
         "repeat_deg": "repeat_deg"},
    ),
    "blocks": (
        {"sensitivity_deg": "0.1", "own_error_deg": "0.1", "block_tolerance_deg": "0.1", "repeat_deg": "0.03"},
        {"sensitivity_deg": "sensitivity_deg", "own_error_deg": "accuracy_deg",
         "block_tolerance_deg": "block_tolerance_deg", "repeat_deg": "repeat_deg"},
    ),
    "ball": (
        {"run_mm": "450", "film_hz": "240", "run_askew_deg": "0.5"},
        {"run_mm": "run_mm", "film_hz": "film_hz", "run_askew_deg": "alignment_deg"},
    ),
}  # fmt: skip

FILLED = [
    Filled("site_new", "", SITE, texts=_newest(models.Site, "name", "address", "notes")),
    Filled("site_edit", "site", {}, texts=_own("site", "name", "address", "notes")),
    Filled("floor_new", "site", FLOOR, _newest(models.Floor, "width_mm", "depth_mm"), _newest(models.Floor, "name")),
    Filled("floor_edit", "floor", {}, _own("floor", "width_mm", "depth_mm"), _own("floor", "name")),
    Filled("bay_new", "floor", BAY, _newest(models.Bay, "x_mm", "y_mm"), _newest(models.Bay, "name")),
    Filled("bay_edit", "bay", {}, _own("bay", "x_mm", "y_mm"), _own("bay", "name")),
    Filled("floor_slope", "floor", SLOPE, _SLOPES, _newest(models.FloorSlope, "why")),
    Filled("bay_slope", "bay", SLOPE, _SLOPES, _newest(models.FloorSlope, "why")),
    Filled(
        "machine_new", "", MACHINE | _OTHER | {"site_name": LEFT_OUT},
        {**_newest(models.Machine, *_SIZES), "pitch_deg": newest(models.Spec, "pitch_deg")},
        _newest(models.Machine, "title", "code"),
    ),
    Filled("machine_new", "", AT_A_SITE, texts={"site_name": _site_of_newest}),
    Filled("machine_edit", "machine", _OTHER, _own("machine", *_SIZES), _own("machine", "title", "code")),
    Filled("machine_legs", "machine", {"FL_pad_mm": "3"}, _LEGS),
    Filled(
        "machine_legs", "machine", {"exposure_unit": "turns", "FL_pad_mm": "3"},
        {f"{leg}_exposure_mm": _leg(place, "exposure_mm", 1.5875) for place, leg in enumerate(("FL", "FR"))},
        query="?unit=turns",
    ),
    Filled(
        "machine_spec", "machine", SPEC,
        _newest(models.Spec, "pitch_deg", "pitch_tolerance_deg", "roll_tolerance_deg", "gap_tolerance_mm"),
        _newest(models.Spec, "why"),
    ),
    Filled("machine_move", "machine", {"bay": "off"}, texts=_newest(models.Standing, "why")),
    Filled("instrument_new", "", LEVEL, _newest(models.Instrument, *_LEVEL_NAMES, **_LEVEL),
           _newest(models.Instrument, "name")),
    *(
        Filled("instrument_new", "", {"name": "Another", "kind": kind, **typed}, _newest(models.Instrument, **columns),
               query=f"?kind={kind}")
        for kind, (typed, columns) in _KINDS.items()
    ),
    Filled(
        "instrument_edit", "instrument", {}, _own("instrument", *_LEVEL_NAMES, **_LEVEL), _own("instrument", "name")
    ),
    Filled("instrument_edit", "vial", {}, _own("vial", *_VIAL), _own("vial", "name")),
    Filled(
        "instrument_zero", "instrument", ZERO,
        {name: _as_number(newest(models.ZeroCheck, column))
         for name, column in (("first", "first_text"), ("turned", "reversed_text"))},
    ),
    Filled("instrument_event", "instrument", DROP, texts=_newest(models.InstrumentEvent, "note")),
    Filled("vial_new", "machine", {}, _newest(models.Instrument, *_VIAL), _newest(models.Instrument, "name")),
    Filled(
        "vial_pair_new", "vial", {"shown": "6.5", "high_end": "rear", "lines": "0.5", "side": "rear"},
        {"lines": newest(models.VialPair, "position_lines"), "shown": newest(models.VialPair, "tilt_deg")},
    ),
    Filled("vial_pair_leave_out", "vial_pair", {"why": "Misread."}, texts=_newest(models.VialPair, "why")),
    Filled("survey_new", "machine", _READINGS, {**_SHOWN, **_TURNED}, _newest(models.Survey, "note")),
    Filled("survey_new", "machine", _READINGS | {"stance": "FL", "gap": "0.5"}, _GAP),
    Filled("survey_new", "machine", _WEIGHED, _WEIGHTS),
    Filled("survey_correct", "survey", _WEIGHED | {"why": "Weighed."}, _WEIGHTS),
    Filled("survey_correct", "survey", _READINGS | {"why": "Misread."}, {**_SHOWN, **_TURNED},
           _newest(models.Survey, "note", "why")),
    Filled(
        "quick_check_new", "paired_machine", {"pitch": "5.2", "roll": "0.1", "roll_high": "right"},
        {"pitch": newest(models.QuickCheck, "pitch_rail_deg"), "roll": newest(models.QuickCheck, "roll_rail_deg")},
    ),
    Filled(
        "plan_turned", "plan",
        {"as_shown": "", "turns_rl": "0.5", "way_rl": "out", "turns_rr": "1.75", "way_rr": "out"},
        {"turns_rl": _turns(2), "turns_rr": _turns(3)},
        shown="plan",
    ),
    Filled("plan_new", "machine", PLAN),
    Filled("plan_set_aside", "plan", {"why": "Sold."}, texts=_own("plan", why="remark"), shown="plan"),
    Filled("machine_label", "machine", {}),
    Filled("report_close", "report", {"why": "A kickstand, not the floor."}, texts=_own("report", why="closed_why")),
    Filled("colleague_edit", "colleague", {"role": "owner"}),
    Filled("colleague_end", "colleague", {"why": "Moved away."},
           texts={"why": newest(models.Change, "why", noun="membership")}),
    Filled("colleague_hand_over", "colleague", {"sure": "on"}),
    Filled("invitation_new", "", {"email": "finn@example.org", "role": "technician"},
           texts=_newest(models.Invitation, "email")),
    Filled("invitation_send", "invitation", {}),
    Filled("invitation_withdraw", "invitation", {}),
    Filled("organization_new", "", {"name": "Ferry Hall"}, texts=_newest(models.Organization, "name")),
    Filled("organization_edit", "", {},
           texts={"name": lambda world: models.Organization.objects.get(pk=world.people.alice.organization_id).name}),
]  # fmt: skip

#: Pages that answer to numbers in their address and store nothing.
ASKED = ("quick", "vial_strip")


def is_named(html: str, name: str) -> bool:
    """Whether a page says beside a field what is wrong with it."""
    return bool(re.search(rf'id="\w+_{re.escape(name)}_error"', html))
