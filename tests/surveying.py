"""What someone reads at a machine, as rows that the survey's actions take, and a survey made of them."""

import datetime
import uuid
from typing import Any

from collection import models
from collection.actions.record import Author
from collection.actions.surveys import record_survey
from collection.actions.vials import record_pair
from tests.factories import NOON


def along(value: float, high_end: str = "rear", **more: Any) -> dict[str, Any]:
    """One reading along the playfield, in degrees unless told otherwise."""
    return _reading("along", value, high_end, **more)


def across(value: float, high_end: str = "right", **more: Any) -> dict[str, Any]:
    """One reading across the playfield, in degrees unless told otherwise."""
    return _reading("across", value, high_end, **more)


def author(member: models.Membership, at: datetime.datetime = NOON, why: str = "", key: Any = None) -> Author:
    """Someone who writes at noon."""
    return Author(member=member, at=at, key=key or uuid.uuid4(), why=why)


def survey_of(
    machine: models.Machine,
    *,
    by: models.Membership,
    instrument: models.Instrument,
    readings: list[dict[str, Any]] | None = None,
    at: datetime.datetime = NOON,
    **seen: Any,
) -> models.Survey:
    """Record a survey: in the middle of the usual spec, with all four feet bearing, unless told otherwise."""
    return record_survey(
        by=author(by, at),
        machine=machine,
        instrument=instrument,
        readings=readings or [along(6.5, spot="middle"), across(0, "level", spot="lower_centre")],
        **{"stance": "all_bearing", **seen},
    )


def pair_of(
    vial: models.Instrument,
    level: models.Instrument,
    *,
    by: models.Membership,
    lines: float,
    shown: float,
    at: datetime.datetime = NOON,
) -> models.VialPair:
    """Record a pair of a vial laid along: lines positive toward the rear, the rear high by so many degrees."""
    side = "middle" if lines == 0 else "rear" if lines > 0 else "front"
    return record_pair(
        by=author(by, at), vial=vial, level=level, shown=shown, shown_text=f"{shown:g}", unit="deg", high_end="rear",
        lines=abs(lines), lines_text=f"{abs(lines):g}", side=side,
    )  # fmt: skip


def _reading(direction: str, value: float, high_end: str, **more: Any) -> dict[str, Any]:
    row = {"direction": direction, "text": f"{value:g}", "value": value, "unit": "deg", "high_end": high_end}
    if "turned_value" in more:
        row |= {"turned_text": f"{more['turned_value']:g}", "turned_high_end": high_end}
    return row | more


def sent(instrument: Any, *rows: tuple[str, str, str], **more: str) -> dict[str, str]:
    """Return what the survey page sends: rows of (direction, number, high end), all four feet bearing."""
    data = {"instrument": str(instrument), "stance": "all_bearing", "readings-TOTAL_FORMS": str(len(rows))}
    data["readings-INITIAL_FORMS"] = "2"
    for place, (direction, value, high_end) in enumerate(rows):
        data |= {f"readings-{place}-direction": direction, f"readings-{place}-value": value}
        data |= {f"readings-{place}-high_end": high_end, f"readings-{place}-spot": "middle"}
    return data | more
