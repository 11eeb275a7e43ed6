"""Reads about forecasts: when one machine is due, why, and how we know."""

import datetime
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from collection import presets
from collection.arrays.forecasts import LIKELY, Forecast, Line, Odd, Turned, Watched, forecast_of
from collection.arrays.surveys_results import Assessment
from collection.models import Machine, Spec, Survey
from collection.queries.response import Record

#: What lies further back says hardly anything more.
MOST_SURVEYS = 40

#: So many days of the forecast stand in the table.
MOST_AHEAD = 6

#: So many surveys that did not come about by drift are told of.
MOST_ODD = 3

#: What the largest part of the chance is, as people say it; ``{what}`` is pitch, roll or gap.
_REASONS = {
    "out": "The {what} was last seen beyond its limit.",
    "doubtful": "By its surveys it is as likely out as in, its {what} most of all.",
    "already": "It was seen near its limit: {what}. A small turn buys more time than an early visit.",
    "drifting": "What grows is mostly drift, {what} first.",
    "jumping": "What grows is mostly the chance of a jump (a shove, a cleaner, feet that walk), {what} first.",
}


@dataclass(frozen=True)
class ForecastPage:
    """What the page of a machine shows of its forecast; days are those of its site."""

    forecast: Forecast
    surveys: int
    since: datetime.date
    surface: str
    today: datetime.date
    due_on: datetime.date
    zone: ZoneInfo

    @property
    def is_due(self) -> bool:
        """Whether the day has come."""
        return self.due_on <= self.today

    @property
    def survey_was_unsure(self) -> bool:
        """Whether the limit lies higher than usual because the last survey could not see better."""
        found = self.forecast
        return found.limit > presets.DUE_CHANCE and found.chance_in_middle > presets.DUE_CHANCE / 2

    @property
    def reason(self) -> str:
        """What the chance is made of, in one sentence."""
        found = self.forecast
        if found.already > LIKELY:
            return _REASONS["out" if found.seen_out else "doubtful"].format(what=found.quantity)
        parts = {"drifting": found.drifting, "jumping": found.jumping}
        if not self.survey_was_unsure:
            parts["already"] = found.already
        return _REASONS[max(parts, key=lambda name: parts[name])].format(what=found.quantity)

    @property
    def ahead(self) -> list[tuple[datetime.date, float, float, float]]:
        """Where pitch may be, on a few days from today on, for the table beside the drawing."""
        coming = [line for line in self.band if line[0] >= self.today]
        return coming[:: max(1, len(coming) // MOST_AHEAD)][:MOST_AHEAD]

    @property
    def newest_odd(self) -> list[Odd]:
        """The newest surveys that did not come about by drift, the newest first."""
        return [*reversed(self.forecast.odd)][:MOST_ODD]

    @property
    def surface_words(self) -> str:
        """The floor, as it stands in a sentence."""
        return "a floor of another kind" if self.surface == "other" else presets.SURFACES[self.surface].lower()

    @property
    def band(self) -> list[tuple[datetime.date, float, float, float]]:
        """Where pitch was and may be: day, low, middle, high [degree]; the last one of each day."""
        lines = {self._day(line): line for line in self.forecast.lines}
        return [(day, line.low, line.middle, line.high) for day, line in sorted(lines.items())]

    def _day(self, line: Line) -> datetime.date:
        return line.at.astimezone(self.zone).date()


def forecast_page(
    *,
    machine: Machine,
    record: Record,
    spec: Spec,
    found: Assessment | None,
    now: datetime.datetime,
) -> ForecastPage | None:
    """Return the forecast of a machine as it stands; None while it stands on no bay, or as no survey saw it.

    ``found`` is what the newest survey says, worked out already.
    """
    watched = watched_of(record=record, spec=spec, found=found)
    if watched is None or machine.bay is None:
        return None
    forecast = forecast_of(watched=watched, now=now, most=presets.DUE_CHANCE)
    zone, surveys = ZoneInfo(machine.bay.floor.site.time_zone), watched.surveys
    return ForecastPage(
        forecast=forecast,
        surveys=len(surveys),
        since=surveys[0].measured_at.astimezone(zone).date(),
        surface=watched.surface,
        today=now.astimezone(zone).date(),
        due_on=forecast.due_at.astimezone(zone).date(),
        zone=zone,
    )


def watched_of(*, record: Record, spec: Spec, found: Assessment | None) -> Watched | None:
    """Return what a forecast is made of; None where no survey saw the machine as it stands, or it stands on no bay."""
    machine, surveys = record.machine, surveys_here(record)[-MOST_SURVEYS:]
    if machine.bay is None or not surveys or not found or record.turned_since(surveys[-1]):
        return None
    return Watched(
        machine=machine,
        surveys=surveys,
        turned=[
            Turned(row.turned_at, row.place, row.turns, work.plan.inputs) for work in record.works for row in work.rows
        ],
        spec=spec,
        surface=machine.bay.floor.surface,
        placed_at=max((at for at, bay in record.standings if bay == machine.bay_id), default=None),
        u_common_deg=(found.pitch.u_common_deg, found.roll.u_common_deg),
    )


def surveys_here(record: Record) -> list[Survey]:
    """Return the surveys since the machine came to stand where it stands, oldest first."""
    return [each for each in record.surveys if not record.moved_since(each.measured_at, each.bay_id)]
