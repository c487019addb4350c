"""What each unit's fish has been on other days, and that it is warmer now. Pure.

One state a governing probe, folded as readings come and from the store after a restart.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from rimewatch.evaluation.channels import seat_span
from rimewatch.evaluation.learned import sampled
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.evaluation.track import Track
from rimewatch.rules import new_high
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.new_high import HighState, NewHigh
from rimewatch.rules.projection import SOON_S
from rimewatch.rules.stages import governing_curve
from rimewatch.shop import Unit
from rimewatch.vocabulary import MS_PER_DAY, LotId, Measures, Priority, ProbeId, Rule

LEARNED_FROM_MS: Final = 9 * MS_PER_DAY
"""The days that count, and one in which the lag settles."""
NEVER: Final = HighState()


class Highs:
    """Follows the fish behind every governing probe."""

    def __init__(self) -> None:
        self._states: dict[ProbeId, HighState] = {}
        self._found: dict[ProbeId, NewHigh] = {}

    def take(self, track: Track) -> None:
        """Take what a probe's fish came to with a reading that came in order."""
        lag, probe = track.state.lag, track.probe.id
        if lag is None:
            return
        before = self._states.get(probe, NEVER)
        after = new_high.step(before, lag.last_ms, lag.governing_c)
        if after is before:
            return
        self._states[probe] = after
        found = new_high.find(
            after,
            limit_c=track.unit.limit_c,
            air_c=lag.measured_c,
            lag_s=track.settings.lag_s,
        )
        if found is not None:
            self._found[probe] = found
        else:
            self._found.pop(probe, None)

    @property
    def any_found(self) -> bool:
        """Whether any fish is warmer than on other days now."""
        return bool(self._found)

    def load(self, tracks: Iterable[Track], store: ReadingStore, to_ms: int) -> None:
        """Learn from what the store holds, after a restart."""
        for track in tracks:
            span = seat_span(store, track.seat, to_ms - LEARNED_FROM_MS, to_ms)
            if not len(span):
                continue
            fish_c = governing_curve(track.stages, span.times_ms, span.values)
            fish = sampled(Span(span.times_ms, fish_c), new_high.SAMPLE_MS)
            self._states[track.probe.id] = new_high.fold(
                fish.times_ms.tolist(), fish.values.tolist()
            )

    def condition(
        self,
        unit: Unit,
        tracks: Sequence[Track],
        standing: Condition | None,
        lots: tuple[LotId, ...],
        at_ms: int,
        *,
        explained: bool,
    ) -> Condition | None:
        """Return that a unit's fish is warmer than on other days and near its limit, if it is.

        Once told it stays until the fish is no warmer than on those days.

        Args:
            unit: The unit.
            tracks: Its governing probes, folded up to now.
            standing: What was told before.
            lots: Lots that stand in it.
            at_ms: The present instant.
            explained: Whether its own doings explain that its air is warm: behind a lag, nobody
                is told of it then. A product probe measures the fish.
        """
        known = [track for track in tracks if track.state.last_ms is not None]
        if standing is not None and standing.record_c is not None:
            record_c = standing.record_c
            warmer = any(track.state.governing_c > record_c for track in known)
            return replace(standing, time_left_s=None, lots=lots) if warmer else None
        found = [
            one
            for track in known
            if not (explained and track.probe.measures is not Measures.PRODUCT)
            and (one := self._found.get(track.probe.id)) is not None
        ]
        if not found:
            return None
        first = min(found, key=lambda one: one.left_s)
        return Condition(
            key=AlarmKey(unit=unit.id, rule=Rule.PROJECTION),
            since_ms=first.since_ms,
            units=(unit.id,),
            priority=Priority.HIGH if lots or first.left_s < SOON_S else None,
            limit_c=unit.limit_c,
            rate_c_per_h=first.rate_c_per_h,
            time_left_s=first.left_s,
            estimated_ms=at_ms,
            lots=lots,
            record_c=first.record_c,
        )
