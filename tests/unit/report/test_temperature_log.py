"""The log that an inspector reads: every four hours, each day's range, and its holes."""

from datetime import date

import numpy as np
import pytest

from handmade import ms, probe, shop, unit
from rimewatch.evaluation.store import Span
from rimewatch.report.temperature_log import Range, days_of, unit_log
from rimewatch.vocabulary import MS_PER_H

SHOP = shop(unit(), probe())
UNIT, PROBE = SHOP.units[0], SHOP.probes[0]
FAR_MS = ms("2027-01-01T00:00:00Z")


def log_of(first_ms: int, values: list[float], *days: date, **more: object) -> list[object]:
    """Return the days of a log of readings a minute apart."""
    times = first_ms + 60_000 * np.arange(len(values), dtype=np.int64)
    span = Span(times, np.array(values, dtype=np.float64))
    arguments = {"timezone": "America/Chicago", "to_ms": FAR_MS, **more}
    return list(unit_log(UNIT, PROBE, span, days, **arguments).days)  # type: ignore[arg-type]


def test_log_shows_the_temperature_at_the_hour_interpolated() -> None:
    """Half a minute between two readings is half way between their values."""
    midnight = ms("2026-03-02T06:00:00Z")
    values = [2.0 + 0.01 * n for n in range(24 * 60)]

    (day,) = log_of(midnight - 30_000, values, date(2026, 3, 2))

    assert day.at_c == pytest.approx(
        tuple(2.0 + 0.01 * (60 * h + 0.5) for h in (0, 4, 8, 12, 16, 20))
    )
    assert (day.min_c, day.max_c) == pytest.approx((2.01, 2.0 + 0.01 * 1439))
    assert day.unmonitored_s == 0


def test_log_leaves_open_what_was_not_measured() -> None:
    """An hour that falls into a gap has no temperature, and the gap is in the day's account."""
    midnight = ms("2026-03-02T06:00:00Z")

    (day,) = log_of(midnight, [2.0] * (6 * 60 + 1), date(2026, 3, 2))

    assert day.at_c == (2.0, 2.0, None, None, None, None)
    assert day.unmonitored_s == 18 * 3600


@pytest.mark.parametrize(
    ("day", "hours"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25), (date(2026, 3, 9), 24)]
)
def test_a_day_of_a_clock_change_has_its_own_length(day: date, hours: int) -> None:
    """Without a reading all of it is unmonitored: 23, 24 or 25 h."""
    (found,) = log_of(0, [1.0], day)
    assert found.unmonitored_s == hours * 3600
    assert found.min_c is None


def test_log_ends_now_and_what_is_yet_to_come_is_no_gap() -> None:
    """Today's log is not full of holes at breakfast."""
    midnight = ms("2026-03-02T06:00:00Z")

    days = log_of(
        midnight,
        [2.0] * 361,
        *days_of(date(2026, 3, 2), date(2026, 3, 4)),
        to_ms=midnight + 6 * MS_PER_H,
    )

    assert [day.day for day in days] == [date(2026, 3, 2)]
    assert days[0].unmonitored_s == 0


def test_thinned_days_show_their_range_and_say_so() -> None:
    """After years the range is left, and nobody takes the rest for a gap."""
    midnight = ms("2026-03-02T06:00:00Z")
    left = [
        Range(from_ms=midnight + n * MS_PER_H, low_c=1.0 + n / 10, high_c=4.0) for n in range(3)
    ]

    (day,) = log_of(0, [1.0], date(2026, 3, 2), ranges=left)

    assert (day.min_c, day.max_c, day.unmonitored_s, day.ranges_only) == (1.0, 4.0, 0, True)


def test_a_unit_without_a_probe_has_an_empty_log() -> None:
    """Nothing is made up for it."""
    nothing = Span(np.empty(0, dtype=np.int64), np.empty(0))
    found = unit_log(UNIT, None, nothing, [date(2026, 3, 2)], timezone="UTC", to_ms=FAR_MS)
    assert found.days == ()
