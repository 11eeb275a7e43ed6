"""The door for a server: whatever a request says of its text, it is answered by a page of ours."""

import io
from typing import Any

import pytest
from django.core.handlers.wsgi import WSGIRequest

from collection.handlers import Handler

pytestmark = pytest.mark.django_db

#: Codecs that Python knows, some of which are no text at all or fail on any; and what is no codec.
CHARSETS = [
    "rot13", "base64", "zlib", "bz2", "hex", "quopri", "uu", "punycode", "idna", "undefined", "utf-16", "utf-7",
    "unicode_escape", "latin-1", "none", "utf-8; charset=rot13", "", '"', "\x00", "ü", "9" * 400,
]  # fmt: skip
KINDS = ["application/x-www-form-urlencoded", "multipart/form-data; boundary=b", "text/html", "application/json"]


def answer(kind: str, *, handler: Any = None, method: str = "POST", query: str = "q=%C3%A9") -> tuple[int, str]:
    """Ask as a server would, byte for byte; return status and page."""
    told: list[str] = []
    environ = {
        "REQUEST_METHOD": method, "PATH_INFO": "/quick/", "QUERY_STRING": query, "CONTENT_TYPE": kind,
        "CONTENT_LENGTH": "3", "SERVER_NAME": "localhost", "SERVER_PORT": "80", "HTTP_HOST": "localhost",
        "wsgi.url_scheme": "http", "wsgi.input": io.BytesIO(b"a=b"), "wsgi.errors": io.StringIO(),
    }  # fmt: skip
    pieces = (handler or Handler())(environ, lambda status, headers: told.append(status))
    return int(told[0].split()[0]), b"".join(pieces).decode()


@pytest.mark.parametrize("charset", CHARSETS, ids=ascii)
@pytest.mark.parametrize("kind", KINDS)
def test_no_encoding_breaks_the_door(kind: str, charset: str) -> None:
    for method in ("GET", "POST"):
        status, page = answer(f"{kind}; charset={charset}", method=method)
        nothing = charset in ("", '"', "\x00") or charset.startswith("utf-8")
        # A POST that is read has no token here.
        assert status in (({"GET": 200, "POST": 403}[method], 400) if nothing else (400,))
        assert "<h1" in page


@pytest.mark.parametrize("kind", ["text/html; charset*=bogus''x", "text/html; a*=rot13''%41", ";" * 400, "\x00", "ü"])
def test_an_unreadable_kind_is_told_on_a_page(kind: str) -> None:
    status, page = answer(kind)
    assert status in (400, 403)
    assert "<h1" in page


def test_more_words_in_an_address_than_are_read() -> None:
    query = "&".join(f"f{number}=" for number in range(1200))
    assert answer("text/html; charset=latin-1", query=query)[0] == 400


def test_it_would_fail_without_our_own_request() -> None:
    """The control: with Django's own request the first of them raises before any page is made."""
    plain = Handler()
    plain.request_class = WSGIRequest  # type: ignore[assignment]
    with pytest.raises(LookupError):
        answer("application/x-www-form-urlencoded; charset=rot13", handler=plain)


def test_what_is_utf_8_is_answered_as_ever() -> None:
    status, page = answer("", method="GET", query="")
    assert status == 200
    assert "Quick answer" in page
