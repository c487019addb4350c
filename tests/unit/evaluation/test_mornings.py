"""When the morning is: each local day once, over every clock change."""

from datetime import date, time, timedelta
from itertools import pairwise

import pytest

from handmade import iso, ms
from rimewatch.evaluation.mornings import (
    instant_ms,
    local_day,
    next_morning,
    previous_morning_ms,
)

CHICAGO = "America/Chicago"


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        ("2026-03-07", "2026-03-07T12:30:00.000Z"),
        ("2026-03-08", "2026-03-08T11:30:00.000Z"),  # the clocks went forward at 02:00
        ("2026-10-31", "2026-10-31T11:30:00.000Z"),
        ("2026-11-01", "2026-11-01T12:30:00.000Z"),  # the clocks went back at 02:00
    ],
)
def test_morning_is_half_past_six_by_the_clock_on_the_wall(day: str, expected: str) -> None:
    """UTC−6 in winter, UTC−5 in summer."""
    assert iso(instant_ms(date.fromisoformat(day), time(6, 30), CHICAGO)) == expected


def test_time_the_spring_leaves_out_is_where_the_clock_jumps_to() -> None:
    """02:30 does not exist on 8 March 2026: 03:30 CDT is meant (PEP 495)."""
    at_ms = instant_ms(date(2026, 3, 8), time(2, 30), CHICAGO)

    assert iso(at_ms) == "2026-03-08T08:30:00.000Z"


def test_time_the_autumn_has_twice_is_its_first_passing() -> None:
    """01:30 comes as CDT and again as CST on 1 November 2026."""
    at_ms = instant_ms(date(2026, 11, 1), time(1, 30), CHICAGO)

    assert iso(at_ms) == "2026-11-01T06:30:00.000Z"


@pytest.mark.parametrize(
    ("timezone", "at"),
    [
        (CHICAGO, time(6, 30)),
        (CHICAGO, time(2, 30)),
        (CHICAGO, time(1, 30)),
        ("Europe/Paris", time(2, 30)),
        ("Australia/Lord_Howe", time(2, 0)),  # its clocks move by half an hour
        ("Pacific/Kiritimati", time(0, 0)),
        ("America/St_Johns", time(23, 59)),
    ],
)
def test_mornings_of_a_year_are_one_a_local_day(timezone: str, at: time) -> None:
    """None left out, none doubled, each strictly after the one before it."""
    now_ms, days, instants = ms("2025-12-31T12:00:00Z"), [], []
    for _ in range(370):
        day, now_ms = next_morning(now_ms, at, timezone)
        days.append(day)
        instants.append(now_ms)

    assert days == [days[0] + timedelta(days=n) for n in range(370)]
    assert all(22.4 < (b - a) / 3_600_000 < 25.6 for a, b in pairwise(instants))
    assert all(
        previous_morning_ms(day, at, timezone) == before
        for day, before in zip(days[1:], instants, strict=False)
    )


def test_morning_at_this_very_instant_is_not_the_next_one() -> None:
    """The next is tomorrow's."""
    at_ms = ms("2026-03-02T12:30:00Z")

    assert next_morning(at_ms, time(6, 30), CHICAGO)[0] == date(2026, 3, 3)
    assert next_morning(at_ms - 1, time(6, 30), CHICAGO) == (date(2026, 3, 2), at_ms)


def test_local_day_is_the_shops_and_not_greenwichs() -> None:
    """Half past five in the morning UTC is still yesterday in Chicago."""
    assert local_day(ms("2026-03-02T05:30:00Z"), CHICAGO) == date(2026, 3, 1)
    assert local_day(ms("2026-03-02T06:00:00Z"), CHICAGO) == date(2026, 3, 2)
