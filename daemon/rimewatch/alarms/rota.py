"""The rota: who is on call at an instant, by weekday, hour and holiday.

An escalation step may name a rota in place of a contact. It is resolved at the instant a
message falls due, so a repeat after the hand-over goes to whoever has taken over.

Everything goes by the shop's wall clock: a shift covers a wall time, whenever that comes.
On the night the clocks go back the doubled hour belongs to the same person twice; on the
night they go forward the hour that is skipped belongs to nobody and never comes. So a rota
that covers every wall time of a week covers every instant.

Pure: the time zone's rules come from the standard library's zone data; no clock is read.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.shop import Shift, Shop
from rimewatch.vocabulary import ContactId

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MS: Final = timedelta(milliseconds=1)
_MINUTES_A_DAY: Final = 24 * 60
WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of wall time in which nobody is on call."""

    begins: str
    """Day and time, such as ``Sat 08:00`` or ``2026-12-25 08:00``."""
    ends: str


@dataclass(frozen=True, slots=True)
class RotaPolicy:
    """Who is on call when, in one shop."""

    shifts: tuple[Shift, ...]
    holidays: frozenset[date]
    timezone: str

    def resolved(self, contacts: Iterable[ContactId], at_ms: int) -> tuple[ContactId, ...]:
        """Return contacts with each rota among them replaced by whoever is on call.

        Each person once, in the order named. Where nobody is on call (a gap, which the
        configuration's check refuses), everybody of that rota is told: silence would be
        the dangerous reading.

        Args:
            contacts: Ids of contacts and rotas.
            at_ms: The instant, milliseconds UTC.

        Raises:
            zoneinfo.ZoneInfoNotFoundError: If the time zone is unknown.
        """
        names = {shift.rota for shift in self.shifts}
        if not names:
            return tuple(dict.fromkeys(contacts))
        found: list[ContactId] = []
        for contact in contacts:
            found.extend(self.on_call(contact, at_ms) if contact in names else (contact,))
        return tuple(dict.fromkeys(found))

    def on_call(self, rota: ContactId, at_ms: int) -> tuple[ContactId, ...]:
        """Return who is on call in a rota at an instant; everybody of it in a gap."""
        local = (_EPOCH + at_ms * _MS).astimezone(ZoneInfo(self.timezone))
        own = [shift for shift in self.shifts if shift.rota == rota]
        now = _on_call(own, self.holidays, local.date(), local.time())
        return now or tuple(dict.fromkeys(c for shift in own for c in shift.contacts))


def first_told(shop: Shop, at_ms: int) -> tuple[ContactId, ...]:
    """Return who is told first at an instant, rotas resolved: whom summaries go to."""
    named = shop.escalation[0].contacts if shop.escalation else ()
    return RotaPolicy(shop.shifts, shop.holidays, shop.timezone).resolved(named, at_ms)


def whom(shop: Shop) -> tuple[str, ...]:
    """Return the names that somebody can be told by: contacts, then rotas."""
    return (*map(str, shop.contact), *sorted({shift.rota for shift in shop.shifts}))


def told_by(shop: Shop, name: str, at_ms: int) -> tuple[ContactId, ...]:
    """Return who is told at an instant by one of the names of :func:`whom`."""
    policy = RotaPolicy(shop.shifts, shop.holidays, shop.timezone)
    return tuple(policy.resolved([ContactId(name)], at_ms))


def gaps(shifts: Sequence[Shift], holidays: Iterable[date]) -> Iterator[Gap]:
    """Yield the stretches in which nobody of one rota is on call, to the minute.

    A week without holidays is looked at as a whole, then each holiday with the days beside
    it. A gap that a plain week has as well is not told again for a holiday.

    Args:
        shifts: The shifts of one rota.
        holidays: The shop's holidays.
    """
    monday = date(2001, 1, 1)  # any week without holidays serves
    week = [monday + timedelta(days=n) for n in range(7)]
    plain = _uncovered(shifts, frozenset(), week)
    yield from _spans(plain, lambda day: WEEKDAYS[day.weekday()], wraps=True)
    known = {(day.weekday(), minute) for day, minute in plain}
    every = frozenset(holidays)
    for holiday in sorted(every):
        around = [holiday, holiday + timedelta(days=1)]
        found = [
            (day, minute)
            for day, minute in _uncovered(shifts, every, around)
            if (day.weekday(), minute) not in known and (day == holiday or day not in every)
        ]
        yield from _spans(found, date.isoformat, wraps=False)


def _begins_on(shift: Shift, own: Sequence[Shift], holidays: frozenset[date], day: date) -> bool:
    """Return whether a shift begins on a day; a holiday without shifts of its own is none."""
    if day in holidays and any(other.on_holidays for other in own):
        return shift.on_holidays
    return day.weekday() in shift.days


def _on_call(
    own: Sequence[Shift], holidays: frozenset[date], day: date, wall: time
) -> tuple[ContactId, ...]:
    found: list[ContactId] = []
    yesterday = day - timedelta(days=1)
    for shift in own:
        overnight = shift.ends <= shift.begins
        from_today = _begins_on(shift, own, holidays, day) and (
            shift.begins <= wall and (overnight or wall < shift.ends)
        )
        from_yesterday = (
            overnight and wall < shift.ends and _begins_on(shift, own, holidays, yesterday)
        )
        if from_today or from_yesterday:
            found.extend(shift.contacts)
    return tuple(dict.fromkeys(found))


def _uncovered(
    own: Sequence[Shift], holidays: frozenset[date], days: Sequence[date]
) -> list[tuple[date, int]]:
    """Return the minutes of some days at which nobody is on call."""
    return [
        (day, minute)
        for day in days
        for minute in range(_MINUTES_A_DAY)
        if not _on_call(own, holidays, day, time(minute // 60, minute % 60))
    ]


def _spans(
    minutes: Sequence[tuple[date, int]], name: Callable[[date], str], *, wraps: bool
) -> Iterator[Gap]:
    """Yield minutes in order as stretches; with ``wraps`` the last day is followed by the first."""
    runs: list[list[tuple[date, int]]] = []
    for day, minute in minutes:
        if runs and _next(runs[-1][-1]) == (day, minute):
            runs[-1].append((day, minute))
        else:
            runs.append([(day, minute)])
    if wraps and len(runs) > 1:
        first, last = runs[0][0], runs[-1][-1]
        if first[1] == 0 and first[0].weekday() == 0 and _next(last)[0].weekday() == 0:
            runs[0] = runs.pop() + runs[0]
    for run in runs:
        day, minute = run[0]
        end_day, end_minute = _next(run[-1])
        yield Gap(
            begins=f"{name(day)} {minute // 60:02}:{minute % 60:02}",
            ends=f"{name(end_day)} {end_minute // 60:02}:{end_minute % 60:02}",
        )


def _next(at: tuple[date, int]) -> tuple[date, int]:
    day, minute = at
    return (day, minute + 1) if minute + 1 < _MINUTES_A_DAY else (day + timedelta(days=1), 0)
