"""Addresses break where people read them apart."""

import pytest

from collection.templatetags.addresses import breakable


@pytest.mark.parametrize(
    ("email", "shown"),
    [
        ("alice@tern.example", "alice<wbr>@tern.example"),
        ("“a@b”@tern.example", "“a@b”<wbr>@tern.example"),  # only the last @ parts name and host
        ("nobody", "<wbr>nobody"),
        ("<b>@tern.example", "&lt;b&gt;<wbr>@tern.example"),
    ],
)
def test_it_breaks_before_the_at(email: str, shown: str) -> None:
    assert breakable(email) == shown
