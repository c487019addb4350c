"""Scheduled defrosts as instants. Pure."""

from datetime import timedelta

from rimewatch.evaluation.mornings import instant_ms, local_day
from rimewatch.shop import Unit


def scheduled(unit: Unit, timezone: str, from_ms: int, to_ms: int) -> list[tuple[float, float]]:
    """Return a unit's scheduled defrosts that touch a period, as (start, end), in order."""
    found: list[tuple[float, float]] = []
    day = local_day(from_ms, timezone) - timedelta(days=1)
    last_day = local_day(to_ms, timezone)
    while day <= last_day:
        for window in unit.defrost:
            start_ms = instant_ms(day, window.start, timezone)
            end_ms = start_ms + window.length_s * 1000.0
            if start_ms <= to_ms and end_ms >= from_ms:
                found.append((float(start_ms), end_ms))
        day += timedelta(days=1)
    return sorted(found)
