"""The record of a period, as plain data: what an inspector asks for.

Temperatures by unit, what went beyond a limit and what was done about it, freezing by lot,
who was told and who answered, probe checks, and changes of the service's own configuration.
Pure: ledger, readings and entries are given. Layouts are in ``records_tables`` (CSV, JSON)
and ``records_document``.

References:
    [1] 21 CFR 123.9(a): a record has the name and location, date and time, signature or
        initials, and identity of the product, and is made when it is observed.
    [2] FDA Food Code 2022, 3-402.12: freezing temperature and time.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from datetime import time as wall_time

from rimewatch.entries import Acknowledge, AnyEntry, InService, OutOfService, Shelve, Unshelve
from rimewatch.evaluation.channels import ChannelHistory, stale_ms
from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.governing import measured_readings
from rimewatch.evaluation.ledger import Account, Ledger, build_ledger
from rimewatch.evaluation.mornings import instant_ms
from rimewatch.evaluation.settings import Change, within
from rimewatch.evaluation.store import ReadingStore
from rimewatch.report.facts import Summary
from rimewatch.report.summary import build_summary
from rimewatch.report.temperature_log import Range, UnitLog, days_of, unit_log
from rimewatch.shop import Shop
from rimewatch.vocabulary import ProbeId, UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class Handled:
    """Something that somebody did about an alarm or a unit."""

    at_ms: int
    who: str
    what: str
    unit: UnitId | None
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeCheck:
    """A check of a probe against something better known."""

    at_ms: int
    who: str
    probe: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """Something that happened to the service: a start, a changed configuration."""

    at_ms: int
    what: str
    detail: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SealedDay:
    """A day's seal."""

    day: date
    seal: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What the journal has besides readings and the ledger's account."""

    happenings: Sequence[Happening] = ()
    checks: Sequence[ProbeCheck] = ()
    seals: Sequence[SealedDay] = ()
    ranges: Mapping[ProbeId, Sequence[Range]] | None = None
    """What is left of readings that were thinned out, by probe."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Records:
    """The record of some local days."""

    first: date
    last: date
    from_ms: int
    to_ms: int
    facts: Summary
    """Excursions, lots, alarms and actions of the period, as the summary tells them."""
    logs: tuple[UnitLog, ...]
    handled: tuple[Handled, ...]
    checks: tuple[ProbeCheck, ...]
    happenings: tuple[Happening, ...]
    changes: tuple[Change, ...]
    """Settings that were changed: what they were, and what they are."""
    seals: tuple[SealedDay, ...]
    ledger: Ledger

    @property
    def open_excursions(self) -> tuple[Excursion, ...]:
        """Excursions about which nobody has written down what was done."""
        return tuple(item for item in self.facts.excursions if item.needs_action)


def period_ms(first: date, last: date, timezone: str, now_ms: int) -> tuple[int, int]:
    """Return the instants between which some local days lie, the last day included.

    Raises:
        ValueError: If the first day is after the last, or is not yet begun.
    """
    from_ms = instant_ms(first, wall_time(0), timezone)
    to_ms = min(instant_ms(last + timedelta(days=1), wall_time(0), timezone), now_ms)
    if last < first:
        raise ValueError(f"from {first} to {last}: expected the first day not after the last")
    if to_ms <= from_ms:
        raise ValueError(f"{first} has not begun yet; expected a day up to today")
    return from_ms, to_ms


def build_records(
    shop: Shop,
    store: ReadingStore,
    account: Account,
    histories: Mapping[ProbeId, ChannelHistory],
    kept: Kept,
    *,
    first: date,
    last: date,
    now_ms: int,
) -> Records:
    """Return the record of some local days.

    Args:
        shop: The shop as it is configured now.
        store: Its readings.
        account: Entries, alarms and messages of the period.
        histories: The channels, folded up to the end of the period or later.
        kept: What the journal has besides.
        first: The first local day.
        last: The last local day, included.
        now_ms: The present instant; the period ends there at the latest.

    Raises:
        ValueError: If the days are no period.
    """
    from_ms, to_ms = period_ms(first, last, shop.timezone, now_ms)
    ledger = build_ledger(
        shop,
        store,
        account,
        from_ms=from_ms,
        to_ms=to_ms,
        histories=histories,
        # Whoever asks for the record of last week is told what was noted about it since.
        noted_until_ms=now_ms,
    )
    days = days_of(first, last)
    logs = []
    for unit in shop.units:
        probe = next(iter(shop.governing_probes(unit.id)), None)
        if probe is None:
            logs.append(UnitLog(unit=unit, probe=None, days=()))
            continue
        margin_ms = round(stale_ms(probe))
        logs.append(
            unit_log(
                unit,
                probe,
                measured_readings(shop, store, unit.id, from_ms - margin_ms, to_ms + margin_ms),
                days,
                timezone=shop.timezone,
                to_ms=to_ms,
                ranges=(kept.ranges or {}).get(probe.id, ()),
            )
        )
    return Records(
        first=first,
        last=last,
        from_ms=from_ms,
        to_ms=to_ms,
        facts=build_summary(shop, ledger, {}, by_fate=True),
        logs=tuple(logs),
        handled=tuple(_handled(account.entries, from_ms, to_ms)),
        checks=tuple(item for item in kept.checks if from_ms <= item.at_ms <= to_ms),
        happenings=tuple(item for item in kept.happenings if from_ms <= item.at_ms <= to_ms),
        changes=within(account.changes, from_ms, to_ms),
        seals=tuple(item for item in kept.seals if first <= item.day <= last),
        ledger=ledger,
    )


def _handled(entries: Sequence[AnyEntry], from_ms: int, to_ms: int) -> list[Handled]:
    found = []
    for entry in sorted(entries, key=lambda entry: entry.at_ms):
        if not from_ms <= entry.at_ms <= to_ms:
            continue
        match entry:
            case Acknowledge():
                what, rule = "acknowledged", entry.rule.value
            case Shelve():
                what, rule = f"shelved for {entry.minutes:g} min", entry.rule.value
            case Unshelve():
                what, rule = "taken from its shelf", entry.rule.value
            case OutOfService():
                what, rule = "taken out of service", ""
            case InService():
                what, rule = "back in service", ""
            case _:
                continue
        found.append(
            Handled(at_ms=entry.at_ms, who=entry.who, what=what, unit=entry.unit, rule=rule)
        )
    return found
