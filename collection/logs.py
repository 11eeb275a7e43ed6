"""One line a log entry, at a time in UTC, with every secret cut out: of addresses, of values, of tracebacks."""

import logging
import re
import time

CUT = "…"

_UUID = r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}"
#: A piece of a path long enough to be a key: of an invitation, of a label for reports, of a link from a mail.
#: The keys of rows are no secrets, and a log without them helps nobody.
_SEGMENT = re.compile(rf"(?<=/)(?!{_UUID}(?![\w:=~.-]))[\w:=~-]{{20,}}(?![\w:=~.-])")
_NAMES = (
    r"password\d?|oldpassword|passwd|secret|secret_key|token|csrfmiddlewaretoken|csrftoken|(?:__Host-)?sessionid|"
    r"(?:__Host-)?csrftoken|key|code|otp|signature"
)
#: A value with such a name: name=value, or 'name': 'value' as in a dictionary.
_VALUE = re.compile(
    rf"""(?<![\w-])((?:{_NAMES})=|(?P<q>["'])(?:{_NAMES})(?P=q):\s*)(?:(?P<open>["'])[^"']*|[^\s"'&,;)}}\]]+)""", re.I
)
_HEADER = re.compile(r"\b((?:Set-)?Cookie|Authorization)(:\s*).+", re.I)
_IN_URL = re.compile(r"(?<=://)([^/\s:@]*):[^/\s@]+@")


def cut_secrets(text: str) -> str:
    """Return the text without what would let a reader in."""
    text = _HEADER.sub(rf"\1\2{CUT}", text)
    text = _IN_URL.sub(rf"\1:{CUT}@", text)
    text = _SEGMENT.sub(CUT, text)
    return _VALUE.sub(rf"\1\g<open>{CUT}", text)


class LineFormatter(logging.Formatter):
    """Time in UTC, level, logger, message; a traceback below. A formatter, since it sees all that is written."""

    converter = staticmethod(time.gmtime)
    default_time_format = "%Y-%m-%dT%H:%M:%S"
    default_msec_format = "%s.%03dZ"

    def __init__(self) -> None:
        super().__init__("{asctime} {levelname} {name}: {message}", style="{")

    def format(self, record: logging.LogRecord) -> str:
        """Return the entry as it may be written down."""
        member = getattr(getattr(record, "request", None), "member", None)  # read already; asking would ask a table
        first, *rest = super().format(record).split("\n")
        who = f" [account {member.user_id}]" if member else ""
        return cut_secrets("\n".join([first + who, *rest]))
