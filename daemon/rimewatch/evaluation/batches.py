"""Batches that cool, and food under a timer: from their entries and the readings. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rimewatch.entries import (
    AnyEntry,
    EndCooling,
    EndTimeControl,
    StartCooling,
    StartTimeControl,
)
from rimewatch.evaluation.channels import stale_ms
from rimewatch.evaluation.governing import (
    governing_readings,
    one_behind_the_other,
    warmest_readings,
)
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.over_time import stretches
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.rules import cooling
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.cooling import Cooling, CoolingState
from rimewatch.rules.hazard_limits import TIME_CONTROL_4H, TIME_CONTROL_6H
from rimewatch.science.time_control import TimeControl, TimeControlState, time_control
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S, Measures, Rule, UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """A batch that was put to cool."""

    start: StartCooling
    ended_ms: int | None
    """When it was taken out, or the next one put in; None: it is there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """Food under a timer."""

    start: StartTimeControl
    ended_ms: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolingRecord:
    """A batch, and how it stood at the end of a period."""

    batch: Batch
    standing: Cooling
    judged_ms: int

    @property
    def measured(self) -> bool:
        """Whether a product probe told anything of it."""
        return self.standing.last_ms is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class TimerRecord:
    """Food under a timer, and how that stood at the end of a period."""

    timed: Timed
    verdict: TimeControl | None
    """None: nobody measured the food as it left temperature control."""

    @property
    def state(self) -> TimeControlState:
        """How it stands."""
        return TimeControlState.NOT_ELIGIBLE if self.verdict is None else self.verdict.state


def batches(entries: Sequence[AnyEntry]) -> list[Batch]:
    """Return the batches that were put to cool, in order of their time."""
    found: dict[int, Batch] = {}
    cooling_in: dict[UnitId, int] = {}
    for entry in sorted(entries, key=lambda entry: entry.at_ms):
        if isinstance(entry, StartCooling | EndCooling) and entry.unit in cooling_in:
            number = cooling_in.pop(entry.unit)
            found[number] = Batch(start=found[number].start, ended_ms=entry.at_ms)
        if isinstance(entry, StartCooling):
            cooling_in[entry.unit] = len(found)
            found[len(found)] = Batch(start=entry, ended_ms=None)
    return list(found.values())


def ended_by(batch: Batch, end_ms: int, at_ms: int) -> Batch:
    """Return a batch as ended at an instant that has passed, if it had not ended before."""
    return replace(batch, ended_ms=end_ms) if batch.ended_ms is None and at_ms >= end_ms else batch


def timed(entries: Sequence[AnyEntry]) -> list[Timed]:
    """Return the food that was put under a timer, in order of its time.

    A second start for the same unit or lot while a timer runs changes nothing: a timer
    is never started again.
    """
    found: dict[int, Timed] = {}
    running: dict[tuple[str | None, str | None], int] = {}
    for entry in sorted(entries, key=lambda entry: entry.at_ms):
        if isinstance(entry, StartTimeControl):
            if (entry.unit, entry.lot) not in running:
                running[entry.unit, entry.lot] = len(found)
                found[len(found)] = Timed(start=entry, ended_ms=None)
        elif isinstance(entry, EndTimeControl):
            number = running.pop((entry.unit, entry.lot), None)
            if number is not None:
                found[number] = Timed(start=found[number].start, ended_ms=entry.at_ms)
    return list(found.values())


def cooling_of(shop: Shop, store: ReadingStore, batch: Batch, at_ms: int) -> Cooling:
    """Return how a batch stands at an instant, or stood when it was taken out."""
    until_ms = at_ms if batch.ended_ms is None else min(at_ms, batch.ended_ms)
    # Which of several probes lies in it nobody knows: the warmest counts.
    start_ms = batch.start.at_ms
    spans: list[Span] = []
    stale_of: list[float] = []
    for then in stretches(shop, store, batch.start.unit, start_ms, until_ms):
        probes = then.shop.probes_of(batch.start.unit, Measures.PRODUCT)
        stale_of.extend(stale_ms(probe) for probe in probes)
        spans.append(
            warmest_readings(
                [
                    (
                        then.store.span(probe.id, round(then.from_ms), round(then.to_ms)),
                        stale_ms(probe),
                    )
                    for probe in sorted(probes, key=lambda p: p.id)
                ]
            )
        )
    span = one_behind_the_other(spans)
    return cooling.judge(
        batch.start.food,
        start_ms,
        span.times_ms.tolist(),
        span.values.tolist(),
        until_ms,
        max_gap_ms=max(stale_of, default=0.0),
    )


def is_exempt(standing: Cooling, batch: Batch, at_ms: int, *, above: bool) -> bool:
    """Whether a unit's limits wait for a batch to cool (3-501.16(A)): only within its time.

    Args:
        standing: How the batch stands.
        batch: The batch.
        at_ms: The instant.
        above: Whether the unit is above its limit now: a batch that has just come to its
            last temperature may not yet be below the limit's deadband.
    """
    if batch.ended_ms is not None or standing.state is CoolingState.FAILED:
        return False
    if standing.over and not above:
        return False
    return not standing.stages or at_ms <= standing.stages[-1].deadline_ms


def cooling_condition(
    shop: Shop, store: ReadingStore, batch: Batch, standing: Cooling, at_ms: int
) -> Condition | None:
    """Return that a batch is, or will be, too late, if it is so."""
    stage = standing.next_stage
    if batch.ended_ms is not None or standing.over or stage is None:
        return None
    missed = next((one for one in standing.stages if one.missed_by(at_ms)), None)
    if missed is None and not cooling.will_be_late(standing, _around_c(shop, store, batch, at_ms)):
        return None
    left_s = (stage.deadline_ms - at_ms) / MS_PER_S
    return Condition(
        key=AlarmKey(unit=batch.start.unit, rule=Rule.COOLING),
        since_ms=batch.start.at_ms if standing.started_ms is None else standing.started_ms,
        units=(batch.start.unit,),
        limit_c=stage.to_c,
        time_left_s=left_s if left_s > 0 else None,
        lots=() if batch.start.lot is None else (batch.start.lot,),
        explanation="It falls too slowly to be there in time."
        if missed is None
        else "It was not cold enough when its time was over.",
        severity=0 if missed is None else 1,
    )


def _around_c(shop: Shop, store: ReadingStore, batch: Batch, at_ms: int) -> float:
    """Return the air around a batch: as measured, or just below the unit's limit."""
    for probe in shop.probes_of(batch.start.unit, Measures.AIR):
        last = store.last_before(probe.id, at_ms + 1)
        if last is not None:
            return last[1]
    unit = shop.unit[batch.start.unit]
    return unit.limit_c - unit.deadband_c


def cooling_records(
    shop: Shop, store: ReadingStore, entries: Sequence[AnyEntry], from_ms: int, to_ms: int
) -> tuple[CoolingRecord, ...]:
    """Return the batches that cooled within a period."""
    return tuple(
        CoolingRecord(batch=batch, standing=cooling_of(shop, store, batch, to_ms), judged_ms=to_ms)
        for batch in batches([e for e in entries if e.at_ms <= to_ms])
        if batch.ended_ms is None or batch.ended_ms >= from_ms
    )


def timer_records(
    shop: Shop, store: ReadingStore, entries: Sequence[AnyEntry], from_ms: int, to_ms: int
) -> tuple[TimerRecord, ...]:
    """Return the food under a timer within a period."""
    known = [e for e in entries if e.at_ms <= to_ms]
    return tuple(
        TimerRecord(timed=item, verdict=timer_of(shop, store, known, item, to_ms))
        for item in timed(known)
        if item.ended_ms is None or item.ended_ms >= from_ms
    )


def timer_of(
    shop: Shop, store: ReadingStore, entries: Sequence[AnyEntry], item: Timed, at_ms: int
) -> TimeControl | None:
    """Return how a timer stands; None: nobody knows how warm the food was at its start."""
    start = item.start
    until_ms = at_ms if item.ended_ms is None else min(at_ms, item.ended_ms)
    unit = start.unit
    if unit is None and start.lot is not None:
        before = [e for e in entries if e.at_ms <= start.at_ms]
        lot = book(before).get(start.lot)
        unit = None if lot is None else lot.unit
    times: list[int] = []
    values: list[float] = []
    max_gap_ms = 1
    start_c = start.celsius
    spans: list[Span] = []
    over_time = () if unit is None else stretches(shop, store, unit, start.at_ms, until_ms)
    for then in over_time:
        assert unit is not None, "there is no time of no unit"
        probes = then.shop.governing_probes(unit)
        readings = [
            (
                governing_readings(then.shop, then.store, probe, then.from_ms, then.to_ms),
                stale_ms(probe),
            )
            for probe in sorted(probes, key=lambda probe: probe.id)
        ]
        spans.append(warmest_readings(readings))
        max_gap_ms = max([max_gap_ms, *(round(stale_ms(probe)) for probe in probes)])
    span = one_behind_the_other(spans)
    if len(span):
        times, values = span.times_ms.tolist(), span.values.tolist()
        before_start = [c for ms, c in zip(times, values, strict=True) if ms <= start.at_ms]
        if start_c is None and before_start:
            start_c = before_start[-1]
    if start_c is None:
        return None
    return time_control(
        start_ms=start.at_ms,
        start_c=start_c,
        times_ms=times,
        celsius=values,
        at_ms=max(until_ms, start.at_ms),
        limits=TIME_CONTROL_4H if start.hours == 4 else TIME_CONTROL_6H,
        max_gap_ms=max_gap_ms,
    )
