"""A week or a month reviewed, beside those before: what creeps up unseen. Pure data.

A night tells of a door; weeks tell of a compressor that works longer, of ice that grows on a
coil, of a case that is a little warmer each week. What it says is in ``review_document``.

References:
    [1] IEC 62682 / ANSI/ISA-18.2, performance metrics: see ``rimewatch.alarms.metrics``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from datetime import time as wall_time
from itertools import pairwise
from statistics import median
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.metrics import Figures, measure
from rimewatch.evaluation.channels import ChannelHistory, limit_rule, stale_ms
from rimewatch.evaluation.contacts import door_times
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.governing import measured_readings
from rimewatch.evaluation.mornings import instant_ms
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.science.duty_cycle import DutyCycle, duty_cycle
from rimewatch.science.statistics import statistics
from rimewatch.science.trend import Trend, trend
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S, Measures, ProbeId, Rule, Scale, UnitId

DAYS_A_WEEK: Final = 7
WEEKS_SHOWN: Final = 5
"""The week under review, and those up to four weeks before it."""

MONTHS_SHOWN: Final = 3
"""The month under review, and the two before it."""

BASELINE_MS: Final = 30 * 60_000
"""Air before a defrost, against which its rise is measured (our choice)."""

RECOVERY_MS: Final = 60 * 60_000
"""After a defrost the air's way back is counted as well: ice on the coil lengthens it."""

SETTLED_MS: Final = 20 * 60_000
"""After a door was shut the compressor works off what came in (our choice)."""

WATCHED_SHARE: Final = 0.5
"""Days measured for less than this share tell nothing of the whole day (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A unit's week or month: whole local days."""

    first: date
    last: date
    mean_c: float | None
    kinetic_c: float | None
    above_limit_s: float
    """Governing temperature above the critical limit."""
    above_operating_s: float
    """Above the operating limit; 0 where there is none."""
    unmonitored_s: float
    door_openings: int
    door_open_s: float
    door_longest_s: float
    defrost_rise_c_min: float | None
    """Median over the scheduled defrosts of the air's rise, in °C times minutes."""
    duty: DutyCycle | None
    """How its compressor worked, as its air tells; None: it does not tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitReview:
    """A unit's weeks or months, the one under review last."""

    unit: Unit
    measures: Measures | None
    stretches: tuple[Stretch, ...]
    daily_mean: Trend | None
    """The trend of its daily mean over all of them, °C a day; None: too few days."""
    has_doors: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckDue:
    """When a probe was last checked against something better known."""

    probe: ProbeId
    last_ms: int | None
    """None: no check is on record."""
    every_days: float
    """How long a check holds, by the configuration."""

    @property
    def due_ms(self) -> float | None:
        """When it is due again; None: it is due already, for want of any check."""
        return None if self.last_ms is None else self.last_ms + self.every_days * MS_PER_DAY


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """What a review says, before anybody lays it out."""

    shop_name: str
    scale: Scale
    zone: ZoneInfo
    is_month: bool
    first: date
    last: date
    from_ms: int
    to_ms: int
    units: tuple[UnitReview, ...]
    alarms: Figures
    checks: tuple[CheckDue, ...]


def week_ending(last: date) -> list[date]:
    """Return the first days of a week and of the four before it, and the day after the last.

    >>> [f"{day:%d.%m.}" for day in week_ending(date(2026, 3, 29))]
    ['23.02.', '02.03.', '09.03.', '16.03.', '23.03.', '30.03.']
    """
    after = last + timedelta(days=1)
    return [after - timedelta(days=DAYS_A_WEEK * n) for n in range(WEEKS_SHOWN, -1, -1)]


def last_whole_week(today: date) -> list[date]:
    """Return :func:`week_ending` of the last week, Monday to Sunday, that is over."""
    return week_ending(today - timedelta(days=today.isoweekday()))


def calendar_month(year: int, month: int) -> list[date]:
    """Return the first days of a month and of the two before it, and of the one after.

    >>> [day.isoformat() for day in calendar_month(2026, 1)]
    ['2025-11-01', '2025-12-01', '2026-01-01', '2026-02-01']
    """
    number = year * 12 + month - 1
    return [
        date(one // 12, one % 12 + 1, 1) for one in range(number - MONTHS_SHOWN + 1, number + 2)
    ]


def build_review(
    shop: Shop,
    store: ReadingStore,
    histories: Mapping[ProbeId, ChannelHistory],
    alarms: Sequence[Alarm],
    *,
    edges: Sequence[date],
    now_ms: int,
    checked_ms: Mapping[ProbeId, int] | None = None,
) -> Review:
    """Return the review of a week or a month, with those before for comparison.

    Args:
        shop: The shop.
        store: Its readings.
        histories: The channels, folded up to now.
        alarms: The record of alarms.
        edges: The first local days of what is laid side by side, from midnight to midnight of
            the shop's zone, and the day after the last; see :func:`week_ending` and
            :func:`calendar_month`.
        now_ms: The present instant.
        checked_ms: When each probe was last checked, where that is on record.

    Raises:
        ValueError: If the last of them is not over yet.
    """
    first, last = edges[-2], edges[-1] - timedelta(days=1)
    from_ms, to_ms = (_midnight(day, shop.timezone) for day in edges[-2:])
    if to_ms > now_ms:
        raise ValueError(f"{last} is not over yet; expected a day before today")
    return Review(
        shop_name=shop.name,
        scale=shop.display,
        zone=ZoneInfo(shop.timezone),
        is_month=(edges[-1] - edges[-2]).days != DAYS_A_WEEK,
        first=first,
        last=last,
        from_ms=from_ms,
        to_ms=to_ms,
        units=tuple(_unit(shop, store, histories, unit, edges) for unit in shop.units),
        alarms=measure(alarms, from_ms, to_ms),
        checks=tuple(
            CheckDue(
                probe=probe.id,
                last_ms=(checked_ms or {}).get(probe.id),
                every_days=probe.check_every_days,
            )
            for probe in shop.probes
            if probe.measures.is_temperature
        ),
    )


def _midnight(day: date, timezone: str) -> int:
    return instant_ms(day, wall_time(0), timezone)


def _unit(
    shop: Shop,
    store: ReadingStore,
    histories: Mapping[ProbeId, ChannelHistory],
    unit: Unit,
    edges: Sequence[date],
) -> UnitReview:
    probes = shop.governing_probes(unit.id)
    return UnitReview(
        unit=unit,
        measures=probes[0].measures if probes else None,
        stretches=tuple(
            _stretch(shop, store, histories, unit, first, after) for first, after in pairwise(edges)
        ),
        daily_mean=_daily_trend(shop, store, unit, edges[0], (edges[-1] - edges[0]).days),
        has_doors=bool(shop.probes_of(unit.id, Measures.DOOR)),
    )


def _stretch(
    shop: Shop,
    store: ReadingStore,
    histories: Mapping[ProbeId, ChannelHistory],
    unit: Unit,
    first: date,
    after: date,
) -> Stretch:
    from_ms, to_ms = (_midnight(day, shop.timezone) for day in (first, after))
    mean_c = kinetic_c = None
    unmonitored_s = (to_ms - from_ms) / MS_PER_S
    above = operating = 0.0
    probes = shop.governing_probes(unit.id)
    if probes:
        probe = probes[0]
        silence_ms = stale_ms(probe)
        margin_ms = round(silence_ms)
        span = measured_readings(shop, store, unit.id, from_ms - margin_ms, to_ms + margin_ms)
        figures = statistics(
            span.times_ms,
            span.values,
            stale_ms=silence_ms,
            from_ms=from_ms,
            to_ms=to_ms,
            limit_c=unit.limit_c,
        )
        mean_c, kinetic_c = figures.mean_c, figures.kinetic_c
        unmonitored_s = figures.missing_s
        history = histories.get(probe.id)
        if history is not None:
            above = _above_s(history, limit_rule(unit), from_ms, to_ms)
            operating = _above_s(history, Rule.OPERATING_LIMIT, from_ms, to_ms)
    doors = door_times(shop, store, unit.id, from_ms, to_ms)
    lengths_s = [(end - start) / MS_PER_S for start, end in doors]
    return Stretch(
        first=first,
        last=after - timedelta(days=1),
        mean_c=mean_c,
        kinetic_c=kinetic_c,
        above_limit_s=above,
        above_operating_s=operating,
        unmonitored_s=unmonitored_s,
        door_openings=len(doors),
        door_open_s=sum(lengths_s),
        door_longest_s=max(lengths_s, default=0.0),
        defrost_rise_c_min=_defrost_rise(shop, store, unit, from_ms, to_ms),
        duty=_duty(shop, store, unit, doors, from_ms, to_ms),
    )


def _duty(
    shop: Shop,
    store: ReadingStore,
    unit: Unit,
    doors: Sequence[tuple[float, float]],
    from_ms: int,
    to_ms: int,
) -> DutyCycle | None:
    """Return how a unit's compressor worked while neither a door nor a defrost moved its air."""
    probes = shop.probes_of(unit.id, Measures.AIR)
    if not probes:
        return None
    span = measured_readings(shop, store, unit.id, from_ms, to_ms)
    defrosts = scheduled(unit, shop.timezone, from_ms, to_ms)
    return duty_cycle(
        span.times_ms,
        span.values,
        stale_ms=stale_ms(probes[0]),
        disturbed=sorted(
            [
                *((start_ms, end_ms + SETTLED_MS) for start_ms, end_ms in doors),
                *((start_ms, end_ms + RECOVERY_MS) for start_ms, end_ms in defrosts),
            ]
        ),
    )


def _above_s(history: ChannelHistory, rule: Rule, from_ms: int, to_ms: int) -> float:
    total_ms = 0.0
    for spell in history.spells(rule.value):
        for start_ms, end_ms in spell.above:
            total_ms += max(0.0, min(end_ms, to_ms) - max(start_ms, from_ms))
    return total_ms / MS_PER_S


def _defrost_rise(
    shop: Shop, store: ReadingStore, unit: Unit, from_ms: int, to_ms: int
) -> float | None:
    """Return the median of how much the air rises in a defrost, area over its usual level."""
    probes = shop.probes_of(unit.id, Measures.AIR)
    if not probes or not unit.defrost:
        return None
    span = measured_readings(shop, store, unit.id, from_ms - BASELINE_MS, to_ms + RECOVERY_MS)
    rises = [
        rise
        for start_ms, end_ms in scheduled(unit, shop.timezone, from_ms, to_ms)
        if from_ms <= start_ms < to_ms
        and (rise := defrost_rise_c_min(span, start_ms, end_ms, stale_ms(probes[0]))) is not None
    ]
    return median(rises) if rises else None


def defrost_rise_c_min(
    span: Span, start_ms: float, end_ms: float, silence_ms: float
) -> float | None:
    """Return the area by which the air rises over its level before a defrost, °C times minutes.

    Args:
        span: The air probe's readings.
        start_ms: When the defrost is scheduled to begin.
        end_ms: When it is scheduled to end; the way back is counted for an hour more.
        silence_ms: A gap longer than this: nothing is said of this defrost.
    """
    before = _between(span, start_ms - BASELINE_MS, start_ms)
    times_ms, values = _between(span, start_ms, end_ms + RECOVERY_MS)
    if len(before[0]) < 3 or len(times_ms) < 3:
        return None
    lengths_ms = np.diff(times_ms)
    if float(lengths_ms.max()) > silence_ms or times_ms[-1] < end_ms:
        return None
    over = np.maximum(values - float(np.median(before[1])), 0.0)
    return float(((over[1:] + over[:-1]) / 2.0 * lengths_ms).sum()) / 60_000.0


def _between(
    span: Span, from_ms: float, to_ms: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    first, after = np.searchsorted(span.times_ms, [from_ms, to_ms])
    return span.times_ms[first:after], span.values[first:after]


def _daily_trend(
    shop: Shop, store: ReadingStore, unit: Unit, begin: date, days: int
) -> Trend | None:
    probes = shop.governing_probes(unit.id)
    if not probes:
        return None
    probe = probes[0]
    edges = [_midnight(begin + timedelta(days=n), shop.timezone) for n in range(days + 1)]
    margin_ms = round(stale_ms(probe))
    span = measured_readings(shop, store, unit.id, edges[0] - margin_ms, edges[-1] + margin_ms)
    numbers, means = [], []
    for number, (from_ms, to_ms) in enumerate(pairwise(edges)):
        times_ms, values = _between(span, from_ms - margin_ms, to_ms + margin_ms + 1)
        figures = statistics(
            times_ms,
            values,
            stale_ms=stale_ms(probe),
            from_ms=from_ms,
            to_ms=to_ms,
            limit_c=unit.limit_c,
        )
        if figures.mean_c is not None and figures.monitored_s * MS_PER_S >= WATCHED_SHARE * (
            to_ms - from_ms
        ):
            numbers.append(float(number))
            means.append(figures.mean_c)
    return trend(np.array(numbers), np.array(means))


def worst_doors(review: Review) -> list[tuple[UnitId, int, float, float]]:
    """Return units by how long their doors stood open in the days under review.

    Returns:
        Unit, openings, seconds open, the longest in seconds; the worst first.
    """
    found = []
    for item in review.units:
        if not item.has_doors:
            continue
        last = item.stretches[-1]
        found.append((item.unit.id, last.door_openings, last.door_open_s, last.door_longest_s))
    return sorted(found, key=lambda row: (-row[2], row[0]))
