"""Times as people write them in a scenario: "20m", "02:40", "2026-03-02T20:00".

Local times become UTC instants here and nowhere else in the simulator.
Pure: no clock.
"""

import re
from datetime import UTC, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

MS_PER_S: Final = 1000

_DURATION: Final = re.compile(
    r"(?=\d)(?:(?P<d>\d+)d)?(?:(?P<h>\d+)h)?(?:(?P<m>\d+)m)?(?:(?P<s>\d+)s)?"
)
_LOCAL: Final = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2})?")
_TIME_OF_DAY: Final = re.compile(r"\d{2}:\d{2}(:\d{2})?")


def duration_s(text: str) -> int:
    """Return the seconds of a duration such as ``20m``, ``1h30m``, ``90s`` or ``7d``.

    Raises:
        ValueError: If the text is no duration or is zero.

    >>> duration_s("1h30m")
    5400
    """
    match = _DURATION.fullmatch(text)
    if match is None:
        raise ValueError(f'"{text}" is not a duration; write one such as "20m", "1h30m" or "7d"')
    days, hours, minutes, seconds = (int(match[part] or 0) for part in "dhms")
    total = ((days * 24 + hours) * 60 + minutes) * 60 + seconds
    if total == 0:
        raise ValueError(f'"{text}" is no time at all; a duration must be longer than zero')
    return total


def time_of_day(text: str) -> time:
    """Return a local time of day, ``HH:MM`` or ``HH:MM:SS``.

    Raises:
        ValueError: If the text is not a time of day.
    """
    if _TIME_OF_DAY.fullmatch(text) is None:
        raise ValueError(f'"{text}" is not a time of day; write one such as "02:40"')
    try:
        return time.fromisoformat(text)
    except ValueError:
        raise ValueError(
            f'"{text}" is not a time of day; hours go to 23, minutes and seconds to 59'
        ) from None


def local_datetime(text: str) -> datetime:
    """Return a local date and time without a zone, such as ``2026-03-02T20:00``.

    Raises:
        ValueError: If the text is not one, or carries a zone.
    """
    wanted = 'write it without a zone, as "2026-03-02T20:00"'
    if _LOCAL.fullmatch(text) is None:
        raise ValueError(f'"{text}" is not a local date and time; {wanted}')
    try:
        return datetime.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f'"{text}" is not a local date and time ({error}); {wanted}') from None


def check_moment(text: str) -> str:
    """Return a moment unchanged if it is one: a time of day, a local date and time, or ``+20m``.

    Raises:
        ValueError: If it is none of the three.
    """
    if text.startswith("+"):
        duration_s(text[1:])
    elif "T" in text:
        local_datetime(text)
    else:
        time_of_day(text)
    return text


def to_ms(local: datetime, zone: ZoneInfo) -> int:
    """Return the UTC instant of a local time, the first of two where clocks went back.

    Raises:
        ValueError: If clocks skip that time.
    """
    aware = local.replace(tzinfo=zone)
    utc = aware.astimezone(UTC)
    if utc.astimezone(zone).replace(tzinfo=None) != local:
        raise ValueError(f"{local.isoformat()} does not exist in {zone.key}: clocks skip it")
    return int(utc.timestamp()) * MS_PER_S


def resolve_ms(moment: str, *, start: datetime, zone: ZoneInfo) -> int:
    """Return the UTC instant of a moment in a scenario that starts at a local time.

    A time of day is the first such time at or after the start.

    Raises:
        ValueError: If the moment is malformed or does not exist in the zone.
    """
    check_moment(moment)
    if moment.startswith("+"):
        return to_ms(start, zone) + duration_s(moment[1:]) * MS_PER_S
    if "T" in moment:
        return to_ms(local_datetime(moment), zone)
    local = datetime.combine(start.date(), time_of_day(moment))
    if local < start:
        local += timedelta(days=1)  # wall time: the same hour of the next day
    return to_ms(local, zone)


def utc_text(at_ms: int) -> str:
    """Return an instant as ISO 8601 in UTC with ``Z``; whole seconds without a fraction.

    >>> utc_text(1_772_485_200_000), utc_text(1_772_485_200_250)
    ('2026-03-02T21:00:00Z', '2026-03-02T21:00:00.250Z')
    """
    seconds, milliseconds = divmod(at_ms, MS_PER_S)
    text = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)).strftime(
        "%Y-%m-%dT%H:%M:%S"
    )
    return f"{text}.{milliseconds:03d}Z" if milliseconds else f"{text}Z"


def parse_utc_ms(text: str) -> int:
    """Return the instant of an ISO 8601 time with a zone.

    Raises:
        ValueError: If it is not one, or has no zone.
    """
    value = datetime.fromisoformat(text)
    if value.tzinfo is None:
        raise ValueError(f'"{text}" has no zone; write it as "2026-03-02T21:00:00Z"')
    elapsed = value.astimezone(UTC) - datetime(1970, 1, 1, tzinfo=UTC)
    return elapsed // timedelta(milliseconds=1)
