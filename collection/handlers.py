"""How a request is made from what a server hands over, whatever it says of itself."""

from typing import Any

from django.core.exceptions import BadRequest
from django.core.handlers.wsgi import WSGIHandler, WSGIRequest


class Request(WSGIRequest):
    """A request that can always be made: its text is read as UTF-8, whatever kind it says to be.

    Django decodes an address as the body's kind says while it makes the request, before any page could tell what is
    wrong. PlainTextMiddleware refuses every other encoding, on a page.
    """

    @property
    def encoding(self) -> str:
        """The one encoding that is read."""
        return "utf-8"

    @encoding.setter
    def encoding(self, asked: Any) -> None:
        """Leave it as it is."""

    def _set_content_type_params(self, meta: Any) -> None:
        try:
            super()._set_content_type_params(meta)  # type: ignore[misc]  # not in the stubs
        except (BadRequest, ValueError):  # the latter for a name of a codec with a NUL in it
            self.content_type, self.content_params = "", {"charset": "unreadable"}


class Handler(WSGIHandler):
    """Answers our requests."""

    request_class = Request
