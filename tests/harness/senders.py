"""One person's browser, as far as a harness needs one: a connection that stays open, a session, forms and answers."""

import http.client
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

#: Any 32 letters do: what counts is that cookie and form hold the same.
TOKEN = "t" * 32
#: No answer, or not all of it: nobody knows whether the write was stored.
NO_ANSWER = (OSError, http.client.HTTPException)


@dataclass(frozen=True)
class Answer:
    """An answer that was read to its end."""

    status: int
    location: str
    body: str

    @property
    def is_done(self) -> bool:
        """Whether the server said that the write is stored."""
        return self.status in (201, 302) and not self.location.startswith("/accounts/")


class Sender:
    """Sends as one signed-in person. Raises one of NO_ANSWER where the server went away."""

    def __init__(self, port: int, session: str, signature: str, timeout_s: float = 60) -> None:
        self.port, self.signature, self.timeout_s = port, signature, timeout_s
        self.cookies = f"sessionid={session}; csrftoken={TOKEN}"
        self.connection: http.client.HTTPConnection | None = None

    def get(self, path: str) -> Answer:
        """Ask for a page."""
        return self._asked("GET", path, None, {})

    def post(self, path: str, data: Mapping[str, str], headers: Mapping[str, str] | None = None) -> Answer:
        """Send a form."""
        body = urlencode({**data, "csrfmiddlewaretoken": TOKEN})
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return self._asked("POST", path, body, {**kind, **(headers or {})})

    def answers(self, path: str) -> bool:
        """Whether the server answers with this page now."""
        try:
            return self.get(path).status == 200
        except NO_ANSWER:
            return False

    def close(self) -> None:
        """Let go of the connection."""
        if self.connection is not None:
            self.connection.close()
            self.connection = None

    def _asked(self, method: str, path: str, body: str | None, headers: Mapping[str, str]) -> Answer:
        if self.connection is None:
            self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=self.timeout_s)
        try:
            self.connection.request(method, path, body, {"Cookie": self.cookies, **headers})
            got = self.connection.getresponse()
            return Answer(got.status, got.getheader("Location", ""), got.read().decode())
        except NO_ANSWER:
            self.close()
            raise
