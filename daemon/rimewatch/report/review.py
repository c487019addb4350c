"""A week or four weeks reviewed, beside those before: what creeps up unseen. Pure data.

A night tells of a door; weeks tell of a compressor that works longer, of ice that grows on a
coil, of a case that is a little warmer each week. Layouts are in ``review_pages``.

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
from rimewatch.evaluation.mornings import instant_ms
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.science.statistics import statistics
from rimewatch.science.trend import Trend, trend
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S, Measures, ProbeId, Rule, Scale, UnitId

DAYS_A_WEEK: Final = 7
WEEKS_SHOWN: Final = {7: 4, 28: 8}
"""Weeks of the trend, by the days under review."""

BASELINE_MS: Final = 30 * 60_000
"""Air before a defrost, against which its rise is measured (our choice)."""

RECOVERY_MS: Final = 60 * 60_000
"""After a defrost the air's way back is counted as well: ice on the coil lengthens it."""

WATCHED_SHARE: Final = 0.5
"""Days measured for less than this share tell nothing of the whole day (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """Seven local days of a unit."""

    first: date
    mean_c: float | None
    kinetic_c: float | None
    above_limit_s: float
    """Governing temperature above the critical limit."""
    above_operating_s: float
    """Above the early line; 0 where there is none."""
    unmonitored_s: float
    door_openings: int
    door_open_s: float
    door_longest_s: float
    defrost_rise_c_min: float | None
    """Median over the scheduled defrosts of the air's rise, in °C times minutes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitReview:
    """A unit's weeks, the one under review last."""

    unit: Unit
    measures: Measures | None
    weeks: tuple[Week, ...]
    daily_mean: Trend | None
    """The trend of its daily mean over the weeks shown, °C a day; None: too few days."""
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
    days: int
    first: date
    last: date
    from_ms: int
    to_ms: int
    units: tuple[UnitReview, ...]
    alarms: Figures
    checks: tuple[CheckDue, ...]

    @property
    def weeks_under_review(self) -> int:
        """How many of each unit's last weeks are under review."""
        return self.days // DAYS_A_WEEK


def build_review(
    shop: Shop,
    store: ReadingStore,
    histories: Mapping[ProbeId, ChannelHistory],
    alarms: Sequence[Alarm],
    *,
    days: int,
    last: date,
    now_ms: int,
    checked_ms: Mapping[ProbeId, int] | None = None,
) -> Review:
    """Return the review of some days, with the weeks before for comparison.

    Args:
        shop: The shop.
        store: Its readings.
        histories: The channels, folded up to now.
        alarms: The record of alarms.
        days: 7 or 28.
        last: The last local day under review, over by now.
        now_ms: The present instant.
        checked_ms: When each probe was last checked, where that is on record.

    Raises:
        ValueError: If the days are neither 7 nor 28, or the last is not over yet.
    """
    if days not in WEEKS_SHOWN:
        raise ValueError(f"{days} days; expected 7 or 28")
    to_ms = _midnight(last + timedelta(days=1), shop.timezone)
    if to_ms > now_ms:
        raise ValueError(f"{last} is not over yet; expected a day before today")
    first = last - timedelta(days=days - 1)
    from_ms = _midnight(first, shop.timezone)
    weeks = WEEKS_SHOWN[days]
    begin = last - timedelta(days=weeks * DAYS_A_WEEK - 1)
    return Review(
        shop_name=shop.name,
        scale=shop.display,
        zone=ZoneInfo(shop.timezone),
        days=days,
        first=first,
        last=last,
        from_ms=from_ms,
        to_ms=to_ms,
        units=tuple(_unit(shop, store, histories, unit, begin, weeks) for unit in shop.units),
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
    begin: date,
    weeks: int,
) -> UnitReview:
    probes = shop.governing_probes(unit.id)
    firsts = [begin + timedelta(days=DAYS_A_WEEK * n) for n in range(weeks)]
    return UnitReview(
        unit=unit,
        measures=probes[0].measures if probes else None,
        weeks=tuple(_week(shop, store, histories, unit, first) for first in firsts),
        daily_mean=_daily_trend(shop, store, unit, begin, weeks * DAYS_A_WEEK),
        has_doors=bool(shop.probes_of(unit.id, Measures.DOOR)),
    )


def _week(
    shop: Shop,
    store: ReadingStore,
    histories: Mapping[ProbeId, ChannelHistory],
    unit: Unit,
    first: date,
) -> Week:
    from_ms = _midnight(first, shop.timezone)
    to_ms = _midnight(first + timedelta(days=DAYS_A_WEEK), shop.timezone)
    mean_c = kinetic_c = None
    unmonitored_s = (to_ms - from_ms) / MS_PER_S
    above = operating = 0.0
    probes = shop.governing_probes(unit.id)
    if probes:
        probe = probes[0]
        silence_ms = stale_ms(probe)
        margin_ms = round(silence_ms)
        span = store.span(probe.id, from_ms - margin_ms, to_ms + margin_ms)
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
    return Week(
        first=first,
        mean_c=mean_c,
        kinetic_c=kinetic_c,
        above_limit_s=above,
        above_operating_s=operating,
        unmonitored_s=unmonitored_s,
        door_openings=len(doors),
        door_open_s=sum(lengths_s),
        door_longest_s=max(lengths_s, default=0.0),
        defrost_rise_c_min=_defrost_rise(shop, store, unit, from_ms, to_ms),
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
    span = store.span(probes[0].id, from_ms - BASELINE_MS, to_ms + RECOVERY_MS)
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
    span = store.span(probe.id, edges[0] - margin_ms, edges[-1] + margin_ms)
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
        weeks = item.weeks[-review.weeks_under_review :]
        found.append(
            (
                item.unit.id,
                sum(week.door_openings for week in weeks),
                sum(week.door_open_s for week in weeks),
                max(week.door_longest_s for week in weeks),
            )
        )
    return sorted(found, key=lambda row: (-row[2], row[0]))
