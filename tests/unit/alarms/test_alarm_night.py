"""The night in local wall time. Clock changes of America/Chicago: IANA tz database."""

from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimewatch.alarms.night import NightPolicy, is_night
from rimewatch.shop import Night
from rimewatch.vocabulary import Priority

CHICAGO = "America/Chicago"
Make = Callable[..., Night]
Read = Callable[[str], int]


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        ("2026-01-15T20:59:59.999-06:00", False),
        ("2026-01-15T21:00:00-06:00", True),
        ("2026-01-16T00:00:00-06:00", True),
        ("2026-01-16T05:59:59.999-06:00", True),
        ("2026-01-16T06:00:00-06:00", False),
        ("2026-01-16T12:00:00-06:00", False),
    ],
)
def test_night_over_midnight_includes_its_start_and_not_its_end(
    night_of: Make, instant: Read, at: str, expected: bool
) -> None:
    """Nine in the evening is night, six in the morning is day, to the millisecond."""
    assert is_night(night_of(), CHICAGO, instant(at)) is expected


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        ("2026-07-01T00:59:00-05:00", False),
        ("2026-07-01T01:00:00-05:00", True),
        ("2026-07-01T04:59:00-05:00", True),
        ("2026-07-01T05:00:00-05:00", False),
        ("2026-07-01T23:00:00-05:00", False),
    ],
)
def test_night_within_one_day_does_not_span_midnight(
    night_of: Make, instant: Read, at: str, expected: bool
) -> None:
    """A night from one to five is over at five and has not begun at eleven."""
    assert is_night(night_of("01:00", "05:00"), CHICAGO, instant(at)) is expected


@pytest.mark.parametrize(
    ("begins", "ends", "first_ms", "end_ms", "hours"),
    [
        # Clocks go forward: 02:00 CST becomes 03:00 CDT at 08:00Z on 2026-03-08.
        ("21:00", "06:00", "2026-03-08T03:00:00Z", "2026-03-08T11:00:00Z", 8),
        # Clocks go back: 02:00 CDT becomes 01:00 CST at 07:00Z on 2026-11-01.
        ("21:00", "06:00", "2026-11-01T02:00:00Z", "2026-11-01T12:00:00Z", 10),
        # Edges inside the doubled hour: the first start, the last end.
        ("21:00", "01:30", "2026-11-01T02:00:00Z", "2026-11-01T07:30:00Z", 5.5),
        ("01:30", "06:00", "2026-11-01T06:30:00Z", "2026-11-01T12:00:00Z", 5.5),
        # An end that the clocks jump over: 02:30 becomes 03:30 CDT.
        ("21:00", "02:30", "2026-03-08T03:00:00Z", "2026-03-08T08:30:00Z", 5.5),
    ],
)
def test_night_of_a_clock_change_is_one_unbroken_time(
    night_of: Make,
    instant: Read,
    begins: str,
    ends: str,
    first_ms: str,
    end_ms: str,
    hours: float,
) -> None:
    """On the nights the clocks change, minute by minute, it is night once and without a hole."""
    night = night_of(begins, ends)
    first, end = instant(first_ms), instant(end_ms)

    about = range(first - 3_600_000, end + 3_600_000, 60_000)
    inside = [at for at in about if is_night(night, CHICAGO, at)]

    assert inside == list(range(first, end, 60_000))
    assert end - first == hours * 3_600_000
    assert not is_night(night, CHICAGO, first - 1)
    assert is_night(night, CHICAGO, end - 1)
    assert not is_night(night, CHICAGO, end)


@given(
    at=st.datetimes(datetime(2025, 1, 1), datetime(2028, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001 - the strategy wants naive bounds
    begins=st.times(min_value=time(4)),
    ends=st.times(min_value=time(4)),
    zone=st.sampled_from([CHICAGO, "Europe/Oslo", "Asia/Tokyo", "Australia/Sydney"]),
)
def test_night_away_from_clock_changes_is_what_the_wall_clock_says(
    at: datetime, begins: time, ends: time, zone: str
) -> None:
    """With edges outside the small hours, comparing wall times gives the same answer."""
    at = at.replace(microsecond=at.microsecond // 1000 * 1000)
    begins, ends = begins.replace(microsecond=0), ends.replace(microsecond=0)
    night = Night(begins=begins, ends=ends, wake_for=frozenset())
    wall = at.astimezone(ZoneInfo(zone)).time()
    expected = begins <= wall < ends if begins <= ends else wall >= begins or wall < ends
    at_ms = (at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)

    assert is_night(night, zone, at_ms) is expected


def test_night_absent_or_without_length_never_is(night_of: Make, instant: Read) -> None:
    """A shop without a night may be told at any time."""
    at = instant("2026-01-16T03:00:00-06:00")
    nothing = night_of("06:00", "06:00")

    for night in (None, nothing):
        policy = NightPolicy(night, CHICAGO)
        assert not policy.is_night(at)
        assert policy.may_sound(Priority.LOW, at)


def test_night_lets_only_its_priorities_sound(night_of: Make, instant: Read) -> None:
    """At three in the morning only what may wake sounds; at noon everything does."""
    policy = NightPolicy(night_of(wake_for="high"), CHICAGO)
    three, noon = instant("2026-01-16T03:00:00-06:00"), instant("2026-01-16T12:00:00-06:00")

    assert [p for p in Priority if policy.may_sound(p, three)] == [Priority.HIGH]
    assert [p for p in Priority if policy.may_sound(p, noon)] == list(Priority)
