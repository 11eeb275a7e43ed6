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

#: So many surveys that did not come about by drift are told of.
MOST_ODD = 3

#: What the largest part of the chance is, as people say it; ``{what}`` is pitch, roll or gap.
_REASONS = {
    "out": "The {what} was last seen beyond its limit.",
    "already": "Most of that was there at the last survey: the {what} was seen near its limit.",
    "drifting": "Most of what is added is drift, which the {what} would show first.",
    "jumping": "Most of what is added is jumps: a shove, a cleaner, feet that walk. The {what} would show them first.",
}


@dataclass(frozen=True)
class ForecastPage:
    """What the page of a machine shows of its forecast; days are those of its site."""

    forecast: Forecast
    surveys: int
    since: datetime.date
    surface: str
    today: datetime.date
    due_on: datetime.date | None
    zone: ZoneInfo

    @property
    def is_due(self) -> bool:
        """Whether the chance is above the limit already."""
        return self.due_on is not None and self.due_on <= self.today

    @property
    def survey_was_unsure(self) -> bool:
        """Whether the last survey left so much of a chance that the limit lies higher than usual."""
        return self.forecast.limit > presets.DUE_CHANCE

    @property
    def reason(self) -> str:
        """What the chance is made of, in one sentence."""
        found = self.forecast
        if found.already > LIKELY:
            return _REASONS["out"].format(what=found.quantity)
        parts = {"drifting": found.drifting, "jumping": found.jumping}
        if not self.survey_was_unsure:
            parts["already"] = found.already
        return _REASONS[max(parts, key=lambda name: parts[name])].format(what=found.quantity)

    @property
    def newest_odd(self) -> list[Odd]:
        """The newest surveys that did not come about by drift, the newest first."""
        return [*reversed(self.forecast.odd)][:MOST_ODD]

    @property
    def surface_words(self) -> str:
        """The floor, as it stands in a sentence."""
        return presets.SURFACES[self.surface].lower()

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
        due_on=forecast.due_at.astimezone(zone).date() if forecast.due_at else None,
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
        turned=[Turned(row.turned_at, row.place, row.turns) for work in record.works for row in work.rows],
        spec=spec,
        surface=machine.bay.floor.surface,
        placed_at=max((at for at, bay in record.standings if bay == machine.bay_id), default=None),
        u_common_deg=(found.pitch.u_common_deg, found.roll.u_common_deg),
    )


def surveys_here(record: Record) -> list[Survey]:
    """Return the surveys since the machine came to stand where it stands, oldest first."""
    return [each for each in record.surveys if not record.moved_since(each.measured_at, each.bay_id)]
