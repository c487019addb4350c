"""The header by which a server asks for a pause, as RFC 9110 writes it and as servers do."""

import math

import pytest

from rimewatch.retry_after import pause_s

EXAMPLE_MS = 784_111_777_000
"""RFC 9110, 5.6.7: Sun, 06 Nov 1994 08:49:37 GMT, in three forms that must all be read."""


@pytest.mark.parametrize(
    "date",
    [
        "Sun, 06 Nov 1994 08:49:37 GMT",
        "Sunday, 06-Nov-94 08:49:37 GMT",
        "Sun Nov  6 08:49:37 1994",
    ],
)
def test_pause_until_a_date_is_read_in_each_form(date: str) -> None:
    """A minute before it, it asks for a minute; after it, for nothing."""
    assert pause_s(date, EXAMPLE_MS - 60_000) == 60.0
    assert pause_s(date, EXAMPLE_MS + 60_000) == 0.0


@pytest.mark.parametrize(
    ("said", "expected"),
    [("120", 120.0), (" 5 ", 5.0), ("2.5", 2.5), ("-3", 0.0), ("inf", math.inf)],
)
def test_pause_in_seconds_is_never_below_none(said: str, expected: float) -> None:
    """RFC 9110, 10.2.3, has whole seconds; some servers send parts of one."""
    assert pause_s(said, EXAMPLE_MS) == expected


@pytest.mark.parametrize("said", [None, "", "soon", "nan", "Thu, 99 Nov 1994", "1994-11-06"])
def test_what_is_no_pause_asks_for_none(said: str | None) -> None:
    """The usual wait is taken then; nothing fails by it."""
    assert pause_s(said, EXAMPLE_MS) is None
