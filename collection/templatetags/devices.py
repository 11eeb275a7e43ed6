"""What a device is, in words."""

import datetime

from django import template
from django.utils import timezone
from django.utils.timesince import timesince

from collection.templatetags.units import day

register = template.Library()

#: What a browser says of itself, the telling marks first: many of them name others too, so as not to be shut out.
_BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("Chrom", "Chrome"),
    ("CriOS/", "Chrome"),
    ("Safari/", "Safari"),
)
_SYSTEMS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("CrOS", "ChromeOS"),
    ("Windows", "Windows"),
    ("Macintosh", "Mac"),
    ("Linux", "Linux"),
)


@register.filter
def device_words(user_agent: str) -> str:
    """``{{ user_agent|device_words }}`` reads "Firefox on Android"; what cannot be told is called unknown."""
    browser = _first(_BROWSERS, user_agent)
    system = _first(_SYSTEMS, user_agent)
    if not (browser or system):
        return "Unknown browser"
    return f"{browser or 'Unknown browser'} on {system}" if system else browser


@register.filter
def seen_words(when: datetime.datetime) -> str:
    """``{{ last_seen_at|seen_words }}`` reads "in the last hour", "about 3 days ago" or, after two weeks, the day."""
    age = timezone.now() - when
    if age < datetime.timedelta(hours=1):
        return "in the last hour"
    if age < datetime.timedelta(days=14):
        return f"about {timesince(when, depth=1)} ago"
    return day(when)


def _first(marks: tuple[tuple[str, str], ...], user_agent: str) -> str:
    return next((name for mark, name in marks if mark in user_agent), "")
