"""Tells the pages what the writer knows, a few times a second at most.

Runs in the writer's thread, outside its batches, and only looks: it never folds late
readings in before their time, so what it shows changes nothing of what is concluded.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from itertools import islice
from typing import Final

import numpy as np

from rimewatch.alarms.alarm import Alarm
from rimewatch.clock import Clock
from rimewatch.evaluation.channels import ChannelHistory
from rimewatch.evaluation.describe import described
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.governing import governing_readings
from rimewatch.evaluation.lot_story import LotStory, tell
from rimewatch.evaluation.nearby import Nearby
from rimewatch.evaluation.track import Track
from rimewatch.evaluation.unit_air import air_probe
from rimewatch.evaluation.unit_now import (
    Bucket,
    UnitNow,
    ended_spells,
    tracks_of,
    unit_now,
)
from rimewatch.journal.journal import Journal
from rimewatch.report.page_json import page_from_json
from rimewatch.rules.condition import Condition
from rimewatch.rules.watch import Spell
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import Measures, ProbeId, UnitId
from rimewatch.web.live import Board, Health, Snapshot

AT_MOST_EVERY_S: Final = 0.5
AT_LEAST_EVERY_S: Final = 5.0
LOTS_EVERY_S: Final = 30.0
FACTS_EVERY_S: Final = 30.0
TODOS_EVERY_S: Final = 60.0
CURVE_EVERY_S: Final = 600.0
"""How often a unit's curve is drawn from the journal again, late readings included."""
CURVE_MS: Final = 12 * 3_600_000
BUCKET_MS: Final = 15 * 60_000
MOST_SPELLS: Final = 60
MOST_READINGS: Final = 1_000_000
"""So many are held for one look at the lots: 16 MB, and a month of twenty probes."""


class Publisher:
    """Publishes snapshots of one service's writer.

    Args:
        board: Where they are read.
        clock: Measures how long ago the last one was.
        health: Gives how the watch itself is doing.
    """

    def __init__(self, board: Board, clock: Clock, health: Callable[[Journal], Health]) -> None:
        self._board = board
        self._clock = clock
        self._health = health
        self._progress = -1
        self._published_s = float("-inf")
        self._evaluator: Evaluator | None = None
        self._forget()

    def look(self, writer: Writer) -> None:
        """Publish what is new; called at each turn of the writer's loop.

        Raises:
            JournalError: If the journal cannot be read; the snapshot before stays.
        """
        now_s = self._clock.monotonic_s()
        ago_s = now_s - self._published_s
        is_new = writer.progress != self._progress
        if ago_s < (AT_MOST_EVERY_S if is_new else AT_LEAST_EVERY_S):
            return
        self._published_s, self._progress = now_s, writer.progress
        evaluator = writer.evaluator
        if evaluator is not self._evaluator:
            self._evaluator = evaluator
            self._forget()
        units = tuple(self._unit(writer, unit, now_s) for unit in writer.shop.units)
        alarms = self._alarms_now(writer, units, now_s)
        self._board.publish(
            Snapshot(
                number=self._board.latest.number + 1,
                entry_number=evaluator.entries[-1].entry_number if evaluator.entries else 0,
                at_ms=evaluator.now_ms,
                units=units,
                alarms=tuple(alarms),
                above_s=tuple(
                    (alarm.id, above_s)
                    for alarm in alarms
                    if (above_s := self._facts[alarm.id][2]) is not None
                ),
                shelves=tuple(sorted(evaluator.alarms.shelves.items(), key=lambda shelf: shelf[1])),
                lots=self._lots_now(writer, now_s),
                todos=self._todos_now(writer, now_s),
                probes_ms=tuple(evaluator.last_ms.items()),
                batteries=tuple(evaluator.batteries.items()),
                health=self._health(writer.journal),
            )
        )

    def _forget(self) -> None:
        self._curves: dict[UnitId, list[Bucket]] = {}
        self._curve_due_s: dict[UnitId, float] = {}
        self._air: dict[ProbeId, tuple[int, float]] = {}
        self._ended: dict[ProbeId, tuple[int, int, tuple[Spell, ...]]] = {}
        self._lots: tuple[LotStory, ...] = ()
        self._lots_due_s = float("-inf")
        self._lots_entries = -1
        self._todos: tuple[str, ...] = ()
        self._todos_due_s = float("-inf")
        self._facts: dict[str, tuple[Condition, Condition, float | None]] = {}
        self._facts_due_s = float("-inf")

    # --- alarms ---------------------------------------------------------------------------

    def _alarms_now(self, writer: Writer, units: tuple[UnitNow, ...], now_s: float) -> list[Alarm]:
        """Return the alarms with the facts that a message would tell of them now.

        Why it is so, and what goes with it, is looked up now and then or when an alarm's own
        condition changes; how warm its fish and its air are, each time, as for the units.
        """
        evaluator = writer.evaluator
        before = {} if now_s >= self._facts_due_s else self._facts
        if not before:
            self._facts_due_s = now_s + FACTS_EVERY_S
        self._facts = {}
        measured: dict[UnitId | None, UnitNow] = {now.unit: now for now in units}
        found = []
        for alarm in sorted(evaluator.alarms.alarms.values(), key=lambda a: a.raised_ms):
            known = before.get(alarm.id)
            if known is None or known[0] != alarm.condition:
                known = (
                    alarm.condition,
                    *described(
                        alarm.condition, writer.shop, evaluator.store, evaluator.tracks, evaluator
                    ),
                )
            self._facts[alarm.id] = known
            facts, of = known[1], measured.get(alarm.key.unit)
            if of is not None:
                facts = replace(facts, fish_c=of.fish_c, air_c=of.air_c)
            found.append(replace(alarm, condition=facts))
        return found

    # --- units ----------------------------------------------------------------------------

    def _unit(self, writer: Writer, unit: Unit, now_s: float) -> UnitNow:
        evaluator = writer.evaluator
        heard = [t for t in tracks_of(evaluator, unit) if t.state.last_ms is not None]
        now = unit_now(evaluator, unit, self._spells(heard))
        if now.probe is None:
            return now
        self._keep_curve(writer, unit, evaluator.tracks[now.probe], now_s)
        air = self._air_of(writer, unit)
        return replace(
            now,
            air_c=None if air is None else air[1],
            curve=tuple(self._curves.get(unit.id, ())),
        )

    def _air_of(self, writer: Writer, unit: Unit) -> tuple[int, float] | None:
        """Return time and value of the unit's last air reading; None: no air is measured."""
        probe = air_probe(writer.shop, unit.id)
        if probe is None or probe.measures is not Measures.AIR:
            return None
        track = writer.evaluator.tracks.get(probe.id)
        if track is not None:
            last_ms = track.state.last_ms
            return None if last_ms is None else (last_ms, track.state.measured_c)
        last_ms = writer.evaluator.last_ms.get(probe.id)
        known = self._air.get(probe.id)
        if last_ms is not None and (known is None or known[0] != last_ms):
            found = writer.journal.last_before(probe.id, last_ms + 1)
            if found is not None:
                self._air[probe.id] = found
        return self._air.get(probe.id)

    def _keep_curve(self, writer: Writer, unit: Unit, warmest: Track, now_s: float) -> None:
        due_s = self._curve_due_s.get(unit.id)
        if due_s is None or now_s >= due_s:
            self._curve_due_s[unit.id] = now_s + CURVE_EVERY_S
            self._curves[unit.id] = _drawn(writer.shop, writer.journal, warmest)
            return
        at_ms, fish_c = warmest.state.last_ms, warmest.state.governing_c
        assert at_ms is not None, "only a probe that was heard is drawn"
        curve = self._curves[unit.id]
        start_ms = at_ms - at_ms % BUCKET_MS
        if curve and curve[-1].at_ms == start_ms:
            last = curve[-1]
            curve[-1] = Bucket(start_ms, min(last.low_c, fish_c), max(last.high_c, fish_c))
        elif not curve or curve[-1].at_ms < start_ms:
            curve.append(Bucket(start_ms, fish_c, fish_c))
        while curve and curve[0].at_ms < start_ms - CURVE_MS:
            del curve[0]

    def _spells(self, tracks: list[Track]) -> tuple[Spell, ...]:
        found: list[Spell] = []
        for track in tracks:
            count = len(track.ended)
            last_ms = round(track.ended[-1].start_ms) if count else 0
            kept = self._ended.get(track.probe.id)
            if kept is None or kept[:2] != (count, last_ms):
                kept = (count, last_ms, tuple(islice(ended_spells(track), MOST_SPELLS)))
                self._ended[track.probe.id] = kept
            found.extend(kept[2])
        return tuple(sorted(found, key=lambda s: s.start_ms, reverse=True)[:MOST_SPELLS])

    # --- lots -----------------------------------------------------------------------------

    def _lots_now(self, writer: Writer, now_s: float) -> tuple[LotStory, ...]:
        evaluator = writer.evaluator
        entries = len(evaluator.entries)
        if now_s >= self._lots_due_s or entries != self._lots_entries:
            self._lots_due_s, self._lots_entries = now_s + LOTS_EVERY_S, entries
            histories: dict[ProbeId, ChannelHistory] = {
                probe: track.history() for probe, track in evaluator.tracks.items()
            }
            # Lots lie in few units: their readings are read once for one look at all of them.
            store = Nearby(writer.journal, MOST_READINGS)
            self._lots = tuple(
                tell(writer.shop, store, histories, lot, evaluator.now_ms)
                for lot in evaluator.lots_here()
            )
        return self._lots

    def _todos_now(self, writer: Writer, now_s: float) -> tuple[str, ...]:
        """Return what the latest summary asks for, until the next one comes."""
        if now_s >= self._todos_due_s:
            self._todos_due_s = now_s + TODOS_EVERY_S
            summary = writer.journal.latest_summary()
            self._todos = ()
            if summary is not None and summary.page:
                with suppress(ValueError):
                    self._todos = page_from_json(summary.page).todos
        return self._todos


def _drawn(shop: Shop, journal: Journal, track: Track) -> list[Bucket]:
    """Return half a day of a probe's fish temperature from the journal, late readings included."""
    last_ms = track.state.last_ms
    assert last_ms is not None, "only a probe that was heard is drawn"
    span = governing_readings(shop, journal, track.probe, last_ms - CURVE_MS, last_ms)
    inside = (span.times_ms >= last_ms - CURVE_MS) & (span.times_ms <= last_ms)
    times, values = span.times_ms[inside], span.values[inside]
    if not len(times):
        return []
    numbers = times // BUCKET_MS
    starts = np.flatnonzero(np.diff(numbers, prepend=numbers[0] - 1))
    lows, highs = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
    return [
        Bucket(int(number) * BUCKET_MS, float(low), float(high))
        for number, low, high in zip(numbers[starts], lows, highs, strict=True)
    ]
