"""The night: the hours in which only some priorities may sound.

The night is told in local wall time and may span midnight. It is one unbroken time: on
the night the clocks go back, a start inside the doubled hour is its first passing and an
end its last, so that a phone does not ring in a half-hour between. A wall time that the
clocks jump over when they go forward is as far after the last hour before the jump as it
would have been (02:30 becomes 03:30), as PEP 495 has it for ``fold=0``.

Pure: the time zone's rules come from the standard library's zone data; no clock is read.

References:
    [1] PEP 495, Local Time Disambiguation.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.shop import Night
from rimewatch.vocabulary import Priority

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MS: Final = timedelta(milliseconds=1)


def _instant_ms(day: date, wall: time, zone: ZoneInfo, *, last: bool) -> int:
    """Return the instant of a local wall time; of a doubled one the first or the last."""
    local = datetime.combine(day, wall, tzinfo=zone)
    first_ms = (local - _EPOCH) // _MS
    if not last:
        return first_ms
    # A doubled time has its second passing later; a skipped one has it earlier (PEP 495).
    return max(first_ms, (local.replace(fold=1) - _EPOCH) // _MS)


def _nights_about(night: Night, timezone: str, at_ms: int) -> Iterator[tuple[int, int]]:
    """Yield beginning and end of the nights that begin the day before, that day, the next."""
    zone = ZoneInfo(timezone)
    today = (_EPOCH + at_ms * _MS).astimezone(zone).date()
    spans_midnight = night.ends <= night.begins
    for days in (-1, 0, 1):
        day = today + timedelta(days=days)
        end_day = day + timedelta(days=1) if spans_midnight else day
        yield (
            _instant_ms(day, night.begins, zone, last=False),
            _instant_ms(end_day, night.ends, zone, last=True),
        )


def is_night(night: Night | None, timezone: str, at_ms: int) -> bool:
    """Return whether an instant lies in the night: its start is inside, its end is not.

    Args:
        night: The shop's night. None, or one that begins and ends at the same wall time:
            there is no night.
        timezone: IANA name of the shop's time zone.
        at_ms: The instant, milliseconds UTC.

    Raises:
        zoneinfo.ZoneInfoNotFoundError: If the time zone is unknown.
    """
    if night is None or night.begins == night.ends:
        return False
    nights = _nights_about(night, timezone, at_ms)
    return any(begins_ms <= at_ms < ends_ms for begins_ms, ends_ms in nights)


@dataclass(frozen=True, slots=True)
class NightPolicy:
    """What may sound when, in one shop."""

    night: Night | None
    timezone: str

    def is_night(self, at_ms: int) -> bool:
        """Return whether an instant lies in the night."""
        return is_night(self.night, self.timezone, at_ms)

    def may_wake(self, priority: Priority) -> bool:
        """Return whether a message of some priority may be sent at any hour."""
        return self.night is None or priority in self.night.wake_for

    def may_sound(self, priority: Priority, at_ms: int) -> bool:
        """Return whether a message of some priority may be sent at an instant."""
        return self.may_wake(priority) or not self.is_night(at_ms)
