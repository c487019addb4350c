"""When the morning summary is due: each local day once, over every clock change.

Pure: instants in, instants out.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from rimewatch.vocabulary import MS_PER_S


def instant_ms(day: date, at: time, timezone: str) -> int:
    """Return the instant of a local time on a local day.

    A time that the spring clock change leaves out is the instant to which the clock
    jumps on (PEP 495); of one that occurs twice in autumn the first is meant.
    """
    local = datetime.combine(day, at, tzinfo=ZoneInfo(timezone))
    return round(local.astimezone(UTC).timestamp() * MS_PER_S)


def local_day(at_ms: int, timezone: str) -> date:
    """Return the local calendar day of an instant."""
    return datetime.fromtimestamp(at_ms / MS_PER_S, tz=ZoneInfo(timezone)).date()


def next_morning(after_ms: int, at: time, timezone: str) -> tuple[date, int]:
    """Return the first morning strictly after an instant: its local day and its instant."""
    day = local_day(after_ms, timezone)
    for ahead in range(3):
        candidate = day + timedelta(days=ahead)
        due_ms = instant_ms(candidate, at, timezone)
        if due_ms > after_ms:
            return candidate, due_ms
    raise AssertionError("a local day longer than two days")


def previous_morning_ms(day: date, at: time, timezone: str) -> int:
    """Return the instant of the morning before a local day's."""
    return instant_ms(day - timedelta(days=1), at, timezone)
