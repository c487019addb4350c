"""Times as people write them in a scenario."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from rimewatch_sim.timeline import (
    check_moment,
    duration_s,
    parse_utc_ms,
    resolve_ms,
    to_ms,
    utc_text,
)

CHICAGO = ZoneInfo("America/Chicago")
EVENING = datetime(2026, 3, 2, 20, 0)  # noqa: DTZ001 - local wall time is what is tested


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("20m", 1200), ("1h30m", 5400), ("90s", 90), ("7d", 604_800), ("1d2h3m4s", 93_784)],
)
def test_duration_is_read_as_written(text: str, seconds: int) -> None:
    """A length of time says its own units."""
    assert duration_s(text) == seconds


@pytest.mark.parametrize("text", ["", "20", "m", "20 m", "-5m", "30m1h", "0s", "1.5h", "1h30"])
def test_duration_that_is_none_is_refused_with_the_text(text: str) -> None:
    """A slip in a duration is named, not guessed at."""
    with pytest.raises(ValueError, match=f'"{text}"'):
        duration_s(text)


@pytest.mark.parametrize(
    ("moment", "utc"),
    [
        ("20:00", "2026-03-03T02:00:00Z"),
        ("23:59", "2026-03-03T05:59:00Z"),
        ("02:40", "2026-03-03T08:40:00Z"),
        ("19:59:30", "2026-03-04T01:59:30Z"),
        ("+1h30m", "2026-03-03T03:30:00Z"),
        ("2026-03-05T00:00", "2026-03-05T06:00:00Z"),
    ],
)
def test_moment_is_the_first_such_local_time_from_the_start_on(moment: str, utc: str) -> None:
    """02:40 in a scenario that begins in the evening is the next morning's."""
    assert utc_text(resolve_ms(moment, start=EVENING, zone=CHICAGO)) == utc


@pytest.mark.parametrize(
    "moment", ["24:00", "2:40", "2026-03-02T20:00Z", "noon", "02:60", "+", "2026-02-30T10:00"]
)
def test_moment_that_is_none_is_refused(moment: str) -> None:
    """Only times of day, local dates with times, and times from the start are moments."""
    with pytest.raises(ValueError, match="is not a "):
        check_moment(moment)


def test_local_time_that_clocks_skip_is_refused() -> None:
    """There is no 02:30 on the morning clocks go forward in Chicago."""
    skipped = datetime(2026, 3, 8, 2, 30)  # noqa: DTZ001 - local wall time is what is tested

    with pytest.raises(ValueError, match="clocks skip it"):
        to_ms(skipped, CHICAGO)


def test_instant_survives_being_written_and_read() -> None:
    """Milliseconds are kept, whole seconds are written plainly."""
    assert utc_text(parse_utc_ms("2026-03-02T21:00:00.250Z")) == "2026-03-02T21:00:00.250Z"
    assert utc_text(parse_utc_ms("2026-03-02T15:00:00-06:00")) == "2026-03-02T21:00:00Z"
