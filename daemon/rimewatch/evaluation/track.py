"""A governing probe's channel as it runs: its state, its past, and late readings.

The fold wants readings in order of their own time. A reading that comes late puts
the channel back to a checkpoint before it, and the stored readings are folded again
from there: the result is the one that an in-order arrival would have given.
"""

from bisect import bisect_left
from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np

from rimewatch.alarms.consequence import lines_passed
from rimewatch.evaluation.channels import (
    FOLD_BATCH,
    ChannelHistory,
    limit_rule,
    seat_span,
    stages_for,
)
from rimewatch.evaluation.store import ReadingStore
from rimewatch.rules import calm, channel
from rimewatch.rules.stages import fold, stage_at, stages_until
from rimewatch.rules.watch import ChannelSettings, ChannelState, Spell, earlier
from rimewatch.science import lag_run
from rimewatch.shop import Seat
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H

CHECKPOINT_EVERY_MS: Final = MS_PER_H
RECENT_MS: Final = 2 * MS_PER_DAY
KEPT_MS: Final = 31 * MS_PER_DAY
"""Readings may come up to 30 days late; checkpoints reach a little further back."""


OpenSpells = tuple[Spell | None, ...]
"""For each watch of a channel, the spell that is open."""


def standing(spells: OpenSpells) -> tuple[int, ...]:
    """For each watch 0: nothing open; 1: open; 2: open for the on-delay already.

    Conditions can only change where this does.
    """
    return tuple(0 if spell is None else 1 if spell.sustained_ms is None else 2 for spell in spells)


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A channel's state after some reading, and how many spells had ended by then."""

    at_ms: int
    """The time of that reading."""
    state: ChannelState
    ended: int


class Track:
    """One governing probe, folded as its readings come."""

    def __init__(self, seat: Seat, store: ReadingStore) -> None:
        self.seat = seat
        self.unit = seat.unit
        self.probe = seat.probe
        self.stages = stages_for(seat)
        self.state = ChannelState()
        self.ended: list[Spell] = []
        self.first_ms: int | None = None
        self.late_from_ms: int | None = None
        """The earliest reading that waits to be folded in; None: none does."""
        self.disturbed_from_ms: int | None = None
        """The earliest reading that came late since somebody last asked: checkpoints kept
        elsewhere from then on are void. Reset by who asks."""
        self._calm = calm.NEVER
        self._store = store
        self._checkpoints: list[Checkpoint] = []

    @property
    def settings(self) -> ChannelSettings:
        """The settings that its state is of: those of its last reading's time."""
        if len(self.stages) == 1:  # nearly always, and asked at every reading
            return self.stages[0].settings
        return stage_at(self.stages, self.state.last_ms).settings

    @property
    def _next_stage_ms(self) -> float:
        """When other settings hold than those of its state; ∞: never."""
        place = self.stages.index(stage_at(self.stages, self.state.last_ms)) + 1
        return self.stages[place].from_ms if place < len(self.stages) else inf

    def resume(self, state: ChannelState, ended: list[Spell], first_ms: int | None) -> None:
        """Go on from a checkpoint; :meth:`load` then folds what came after it."""
        self.state, self.ended, self.first_ms = state, ended, first_ms
        self.late_from_ms = None
        self._calm = calm.calm_of(self.settings, state)
        self._checkpoints = (
            [] if state.last_ms is None else [Checkpoint(state.last_ms, state, len(ended))]
        )

    def go_on_from(self, before: "Track") -> None:
        """Go on from the same channel under the settings that held up to now, if it is that."""
        last_ms = before.state.last_ms
        if last_ms is None or not self._goes_on(before, last_ms):
            return
        self.resume(before.state, list(before.ended), before.first_ms)
        self.disturbed_from_ms = before.disturbed_from_ms

    def _goes_on(self, before: "Track", last_ms: int) -> bool:
        if last_ms >= self.seat.to_ms:
            return False  # it was found out since that the probe had been moved by then
        known = stages_until(self.stages, last_ms)
        return before.late_from_ms is None and known == stages_until(before.stages, last_ms)

    def take(self, at_ms: int, value_c: float) -> bool:
        """Take a reading that is in the store already; return whether the channel moved on.

        False: the reading came late, and the channel waits for :meth:`catch_up`.
        """
        last_ms = self.state.last_ms
        if self.late_from_ms is not None or (last_ms is not None and at_ms <= last_ms):
            if self.late_from_ms is None or at_ms < self.late_from_ms:
                self.late_from_ms = at_ms
            if self.disturbed_from_ms is None or at_ms < self.disturbed_from_ms:
                self.disturbed_from_ms = at_ms
            return False
        calm_state = None
        if len(self.stages) == 1 or at_ms < self._next_stage_ms:
            calm_state = calm.step(self.settings, self.state, self._calm, at_ms, value_c)
        if calm_state is None:
            self._fold([at_ms], [value_c])
        else:
            self.state = calm_state
            self._note_checkpoint(at_ms)
        return True

    def set_back(self, now_ms: int, by_ms: int) -> None:
        """Go on from an earlier instant: a clock that was ahead has been put right.

        What is so now was timed by the wrong clock; its times are taken back with it. What
        comes now is no late reading then, and an excursion that lasts goes on.
        """
        lag = self.state.lag
        if lag is None or lag.last_ms <= now_ms:
            return
        del self._checkpoints[bisect_left(self._checkpoints, now_ms, key=lambda c: c.at_ms) :]
        begun = lag_run.begin(
            self.settings.lag_s,
            min(lag.last_ms - by_ms, now_ms - 1),  # before what comes now
            lag.measured_c,
            lag.governing_c,
        )
        spells = tuple(spell and earlier(spell, by_ms) for spell in self.state.open)
        self.state = self.state._replace(lag=begun, open=spells)
        self.late_from_ms = None
        self._calm = calm.calm_of(self.settings, self.state)

    def catch_up(self, to_ms: int | None = None) -> None:
        """Fold again from before the earliest late reading, up to an instant."""
        if self.late_from_ms is None:
            return
        kept = bisect_left(self._checkpoints, self.late_from_ms, key=lambda c: c.at_ms)
        del self._checkpoints[kept:]
        if self._checkpoints:
            before = self._checkpoints[-1]
            self.state = before.state
            del self.ended[before.ended :]
        else:
            self.state, self.first_ms = ChannelState(), None
            self.ended.clear()
        self._calm = calm.calm_of(self.settings, self.state)
        self.late_from_ms = None
        self.load(to_ms)

    def load(self, to_ms: int | None = None) -> None:
        """Fold everything that the store holds beyond the channel's last reading."""
        last_ms = self.state.last_ms
        span = seat_span(self._store, self.seat, None if last_ms is None else last_ms + 1, to_ms)
        times, values = span.times_ms, span.values
        start = 0
        while start < len(times):
            # Cut at checkpoints, so that the next late reading need not go far back: close
            # together for the last days, in which most late readings fall.
            at_ms = int(times[start])
            is_recent = int(times[-1]) - at_ms <= RECENT_MS
            edge_ms = at_ms + (CHECKPOINT_EVERY_MS if is_recent else MS_PER_DAY)
            end = int(np.searchsorted(times, edge_ms)) + 1
            end = min(end, start + FOLD_BATCH, len(times))
            self._fold(times[start:end], values[start:end])
            start = end

    def _fold(self, times_ms: channel.Times, values_c: channel.Values) -> None:
        if self.first_ms is None:
            self.first_ms = int(times_ms[0])
        self.state, ended = fold(self.stages, self.state, times_ms, values_c)
        self._calm = calm.calm_of(self.settings, self.state)
        self.ended.extend(ended)
        self._note_checkpoint(int(times_ms[-1]))

    def _note_checkpoint(self, last_ms: int) -> None:
        checkpoints = self._checkpoints
        if not checkpoints or last_ms - checkpoints[-1].at_ms >= CHECKPOINT_EVERY_MS:
            checkpoints.append(Checkpoint(last_ms, self.state, len(self.ended)))
            while last_ms - checkpoints[0].at_ms > KEPT_MS:
                del checkpoints[0]
            # Beyond the last days one a day is kept, as after a restart: few readings are so late.
            old = bisect_left(checkpoints, last_ms - RECENT_MS, key=lambda c: c.at_ms) - 1
            if old > 0 and checkpoints[old].at_ms - checkpoints[old - 1].at_ms < MS_PER_DAY:
                del checkpoints[old]

    def passed(self, spells: OpenSpells) -> int:
        """How many published lines beyond its critical limit the fish has passed, at its peak.

        A condition's severity can only change where this does.

        Args:
            spells: For each watch what is or was open.
        """
        spell = self._spell(limit_rule(self.unit).value, spells)
        return 0 if spell is None else lines_passed(self.unit.kind, self.unit.limit_c, spell.peak_c)

    def open_spell(self, watch: str) -> Spell | None:
        """Return the spell of a watch that is open, if one is."""
        return self._spell(watch, self.state.open)

    def _spell(self, watch: str, spells: OpenSpells) -> Spell | None:
        for settings, spell in zip(self.settings.watches, spells, strict=False):
            if settings.name == watch:
                return spell
        return None

    def history(self) -> ChannelHistory:
        """Return what the fold has found so far."""
        return ChannelHistory(
            seat=self.seat,
            stages=self.stages,
            first_ms=self.first_ms,
            state=self.state,
            ended=tuple(self.ended),
        )
