"""Looks at what concerns several readings together, once a minute of the readings' time.

A loss of power, all probes silent, where the fish is heading, a batch that cools: what
each of them is, the modules say that find it; here they meet, and what one tells of is
kept from being told again by another. Pure: the evaluator hands over the time, and
makes alarms of what is found.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final, Protocol

from rimewatch.alarms.alarm import AlarmState
from rimewatch.alarms.consequence import worst_of
from rimewatch.entries import AnyEntry
from rimewatch.evaluation.batches import (
    Batch,
    batches,
    cooling_condition,
    cooling_of,
    ended_by,
    is_exempt,
)
from rimewatch.evaluation.channels import limit_rule
from rimewatch.evaluation.highs import Highs
from rimewatch.evaluation.outlook import (
    Line,
    at_present_s,
    line_to_come,
    outlook_of,
    projection_condition,
    stakes_of,
)
from rimewatch.evaluation.power import (
    ABOUT_TO_BE_RAISED_MS,
    POWER_LOSS,
    RECOVERY_S,
    SILENCED,
    power_condition,
)
from rimewatch.evaluation.silence import ALL_STALE, silence_condition
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.track import Track
from rimewatch.evaluation.unit_air import AirWatch
from rimewatch.evaluation.used_up import LOOK_EVERY_MS, graver
from rimewatch.lots.hold import Hold
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.power_loss import Warming
from rimewatch.rules.projection import ask_again_ms, may_ask
from rimewatch.rules.provisions_hazards import SCOMBROTOXIN_LINE_C
from rimewatch.rules.usual import Departure
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_MINUTE, MS_PER_S, LotId, ProbeId, Rule, UnitId

COOLING_EXEMPTS: Final = (
    Rule.HOLDING,
    Rule.OPERATING_LIMIT,
    Rule.PROJECTION,
    Rule.IMPLAUSIBLE,
)
"""What waits while a batch cools in its unit (FDA Food Code 2022, 3-501.16(A)); its probe
jumps as it is put into hot food."""

LONGEST_BATCH_MS: Final = MS_PER_DAY
"""A batch that nobody took out is not looked at any longer after a day."""

TIME_LEFT_EVERY_MIN: Final = 5
TIME_LEFT_SHARE: Final = 0.04
"""Without power, how long is left is estimated anew so often, and after this share of the time
that the power has been out: what is known of a rise changes with its length."""
LOOKED_AT_CLOSELY: Final = 2
"""Of so many units."""


class Host(Protocol):
    """What the overseer needs of the evaluator."""

    alarms: AlarmState
    now_ms: int
    tracks: dict[ProbeId, Track]
    last_ms: dict[ProbeId, int]
    """When each probe that ever spoke last did."""
    started_ms: int
    """When this evaluator began to watch."""

    def lots_in(self, unit: UnitId) -> tuple[LotId, ...]:
        """Return the lots that stand in a unit now."""
        ...

    def holds_in(self, unit: UnitId) -> dict[LotId, Hold]:
        """Return the holds of the lots that stand in a unit, as far as they have come."""
        ...

    def used_up(self, unit: Unit, told: Condition | None, at_ms: int) -> Condition | None:
        """Return that fish in a unit has used up most or all of its time in the warm."""
        ...

    def apply(self, conditions: Mapping[AlarmKey, Condition | None]) -> None:
        """Say of each condition that it is so, or (None) that it no longer is."""
        ...

    def suppress(self, key: AlarmKey, by_key: AlarmKey) -> None:
        """Silence an alarm by design, because another one tells of the cause of both."""
        ...

    def unsuppress(self, key: AlarmKey, by_key: AlarmKey) -> None:
        """Let a cause no longer silence an alarm; what is still so is raised."""
        ...


class Overseer:
    """Follows the units' air, and finds what one reading alone does not show.

    Args:
        shop: The shop.
        store: Its readings.
        host: The evaluator.
    """

    def __init__(self, shop: Shop, store: ReadingStore, host: Host) -> None:
        self.air = AirWatch(shop, store)
        self.highs = Highs()
        self._shop = shop
        self._store = store
        self._host = host
        self._silenced = {
            unit.id: tuple(AlarmKey(unit=unit.id, rule=rule) for rule in SILENCED)
            for unit in shop.units
        }
        """What a loss of power says already, by unit."""
        self._batches: list[Batch] = []
        self._used_up: dict[UnitId, Condition | None] = {}
        self._used_looked: dict[UnitId, tuple[int, tuple[LotId, ...]]] = {}
        self._warm: set[UnitId] = set()
        self._next_ask: dict[UnitId, tuple[int, int]] = {}
        """When each unit's rise began, and when its outlook is next estimated."""

    def use(self, entries: Sequence[AnyEntry]) -> None:
        """Take in which batches were put to cool, by all entries so far."""
        self._batches = batches(entries)

    def look(self, at_ms: int) -> None:
        """Look at everything, at an instant of the readings' time."""
        self.judge_silence()
        self.judge_power(at_ms)
        for unit in self._shop.units:
            self._judge_used_up(unit, at_ms)
            self._judge_outlook(unit, at_ms)
        self.judge_cooling(at_ms)

    def judge_power(self, at_ms: int, out_for_ms: int | None = None) -> None:
        """Find that power is lost, or is back.

        Args:
            at_ms: The instant.
            out_for_ms: How long units must have been out of their bands; None: the rule's.
        """
        alarms = self._host.alarms
        standing = alarms.conditions.get(POWER_LOSS)
        last = alarms.alarms.get(POWER_LOSS) or alarms.closed.get(POWER_LOSS)
        back_ms = None if last is None else last.returned_ms
        condition = power_condition(
            self.air, standing, at_ms, out_for_ms=out_for_ms, back_ms=back_ms
        )
        if condition is not None:
            lots = tuple(lot for unit in condition.units for lot in self._host.lots_in(unit))
            if self._counts_anew(condition, at_ms):
                condition = self._counted_down(condition, at_ms)
            condition = replace(condition, lots=lots, severity=self._severity_of(condition))
        self._host.apply({POWER_LOSS: condition})
        if condition is not None:
            suppressed = self._host.alarms.suppressed
            for unit in condition.units:
                for key in self._silenced[unit]:
                    if POWER_LOSS not in suppressed.get(key, ()):
                        self._host.suppress(key, POWER_LOSS)
        else:
            self._follow_the_recovery(at_ms)
        self.air.known_out = self.without_power_lately()

    def _severity_of(self, condition: Condition) -> int:
        """Return how bad a loss of power is: as bad as the worst of its units."""
        units = frozenset(condition.units)
        spells = [
            (track.unit, spell.peak_c)
            for track in self._host.tracks.values()
            if track.unit.id in units
            and (spell := track.open_spell(limit_rule(track.unit).value)) is not None
        ]
        return worst_of((unit.kind, unit.limit_c, peak_c) for unit, peak_c in spells)

    def _follow_the_recovery(self, at_ms: int) -> None:
        """Let speak for itself what is not on its way back when the power is."""
        lifts_ms = self._host.alarms.lifting.get(POWER_LOSS)
        if lifts_ms is None:
            return
        back_ms = lifts_ms - round(RECOVERY_S * MS_PER_S)
        for unit in self.without_power_lately():
            if not self.air.is_coming_back(unit, at_ms, back_ms):
                for rule in SILENCED:
                    self._host.unsuppress(AlarmKey(unit=unit, rule=rule), POWER_LOSS)

    def without_power_lately(self) -> list[UnitId]:
        """Return the units that a loss of power speaks for, until they are cold again."""
        suppressed = self._host.alarms.suppressed
        found = {key.unit for key, causes in suppressed.items() if POWER_LOSS in causes}
        return [unit.id for unit in self._shop.units if unit.id in found]

    def load(self, to_ms: int) -> None:
        """Learn the units' air from what the store holds, after a restart."""
        alarms = self._host.alarms
        known = alarms.alarms.get(POWER_LOSS) or alarms.closed.get(POWER_LOSS)
        self.air.known_out = self.without_power_lately()
        self.air.load(to_ms, None if known is None else known.since_ms)
        self.highs.load(self._host.tracks.values(), self._store, to_ms)

    def _counts_anew(self, condition: Condition, at_ms: int) -> bool:
        """Whether the time that is left is to be estimated anew: what was told may be over."""
        if condition.estimated_ms is None:
            return True
        wait_ms = float(TIME_LEFT_EVERY_MIN * MS_PER_MINUTE)
        if condition.time_left_s is not None:
            share_ms = TIME_LEFT_SHARE * (at_ms - condition.since_ms)
            wait_ms = max(wait_ms, min(share_ms, condition.time_left_s * MS_PER_S))
        return at_ms - condition.estimated_ms >= wait_ms

    def _counted_down(self, condition: Condition, at_ms: int) -> Condition:
        """Say which fish without power comes to its next line first, which one, and when."""
        ahead: list[tuple[float, Line, Departure]] = []
        for unit in self._shop.units:
            departure = self.air.departure(unit.id)
            if unit.id not in condition.units or departure is None:
                continue
            tracks = [track for track in self._host.tracks.values() if track.unit.id == unit.id]
            known = [track for track in tracks if track.state.last_ms is not None]
            line = line_to_come(unit, known, stakes_of(self._host.holds_in(unit.id)))
            if line is not None:
                ahead.append((at_present_s(line, departure), line, departure))
        # An estimate takes milliseconds, and only the first is told of: those that are nearest
        # by their present course are looked at closely.
        first: tuple[float, Line] | None = None
        for _, line, departure in sorted(ahead, key=lambda one: one[0])[:LOOKED_AT_CLOSELY]:
            warming = self.air.warming_of(line.track.unit.id, departure, at_ms)
            outlook = outlook_of(self._store, warming, line.track, line.passed_at_c)
            if outlook is None or not outlook.foretold or outlook.left_s is None:
                continue
            if first is None or outlook.left_s < first[0]:
                first = outlook.left_s, line
        left_s, line = (None, None) if first is None else first
        stake = None if line is None else line.stake
        return replace(
            condition,
            time_left_s=left_s,
            estimated_ms=at_ms,
            first_unit=None if line is None else line.track.unit.id,
            limit_c=None if line is None else line.named_c,
            held_h=None if stake is None else stake.held_h,
            needed_h=None if stake is None else stake.needed_h,
        )

    def _judge_used_up(self, unit: Unit, at_ms: int) -> None:
        """Look, now and then, whether fish in a chilled unit has used up its time in the warm."""
        if unit.kind.is_freezer:
            return
        tracks = [track for track in self._host.tracks.values() if track.unit.id == unit.id]
        known = [track.state.governing_c for track in tracks if track.state.last_ms is not None]
        if known and max(known) > SCOMBROTOXIN_LINE_C:
            self._warm.add(unit.id)  # colder, no allowance is used
        lots = self._host.lots_in(unit.id)
        look = at_ms // LOOK_EVERY_MS, lots
        looked = self._used_looked.get(unit.id)
        if look == looked or (unit.id not in self._warm and looked and looked[1] == lots):
            return
        self._used_looked[unit.id] = look
        self._warm.discard(unit.id)
        key = AlarmKey(unit=unit.id, rule=Rule.PROJECTION)
        standing = self._host.alarms.conditions.get(key)
        told = standing if standing is not None and standing.used_share is not None else None
        found = self._host.used_up(unit, told, at_ms) if lots else None
        self._used_up[unit.id] = found
        if found is not None or told is not None:
            other = standing if told is None else None
            self._host.apply({key: graver(other, found)})

    def _judge_outlook(self, unit: Unit, at_ms: int) -> None:
        departure = self.air.departure(unit.id)
        key = AlarmKey(unit=unit.id, rule=Rule.PROJECTION)
        told = standing = self._host.alarms.conditions.get(key)
        if standing is not None and (standing.used_share or standing.record_c) is not None:
            standing = None  # another finding under the same rule
        nothing = departure is None and not self.highs.any_found
        if told is None and (nothing or self._without_power(unit.id)):
            return
        warming = None
        if departure is not None and self.air.measured(unit.id, at_ms):
            warming = self.air.warming_of(unit.id, departure, at_ms)
        tracks = [track for track in self._host.tracks.values() if track.unit.id == unit.id]
        lots = self._host.lots_in(unit.id)
        explained = warming is not None and warming.explained
        high = self.highs.condition(unit, tracks, told, lots, at_ms, explained=explained)
        # A hold is counted anew for it: only where there may be something to foretell.
        asks = (
            warming is not None
            and (standing is not None or not warming.explained)
            and may_ask(warming.departure, at_ms)
            and self._is_worth_asking(unit.id, warming, at_ms)
        )
        was_high = told is not None and told.record_c is not None
        if standing is None and high is None and not was_high and not asks:
            return
        stakes = stakes_of(self._host.holds_in(unit.id)) if asks else ()
        hold_lost = AlarmKey(unit=unit.id, rule=Rule.HOLD_AT_RISK) in self._host.alarms.conditions
        condition = projection_condition(
            unit,
            self._store,
            warming,
            tracks,
            standing,
            lots,
            at_ms,
            stakes=stakes,
            hold_lost=hold_lost,
            estimates=asks,
        )
        condition = graver(condition, high)
        if told is None and condition is not None:
            # Whoever is told of a unit is told what it shares with the others.
            self.judge_power(at_ms, ABOUT_TO_BE_RAISED_MS)
            if self._without_power(unit.id):
                return
        self._host.apply({key: graver(condition, self._used_up.get(unit.id))})

    def _is_worth_asking(self, unit: UnitId, warming: Warming, at_ms: int) -> bool:
        """Whether an estimate may say anything that the last one did not; note when the next is."""
        begun_ms, next_ms = self._next_ask.get(unit, (-1, 0))
        departure = warming.departure
        if begun_ms == departure.rising_since_ms and at_ms < next_ms:
            return False
        self._next_ask[unit] = departure.rising_since_ms, ask_again_ms(departure, at_ms)
        return True

    def judge_cooling(self, at_ms: int) -> None:
        """Look at the batch that was last put to cool in each unit."""
        latest = {batch.start.unit: batch for batch in self._batches}
        for unit, found in latest.items():
            if unit not in self._shop.unit:
                continue  # nobody measures there
            batch = ended_by(found, found.start.at_ms + LONGEST_BATCH_MS, at_ms)
            key = AlarmKey(unit=unit, rule=Rule.COOLING)
            silenced = [AlarmKey(unit=unit, rule=rule) for rule in COOLING_EXEMPTS]
            waits = any(key in self._host.alarms.suppressed.get(other, ()) for other in silenced)
            if batch.ended_ms is not None and key not in self._host.alarms.conditions and not waits:
                continue
            standing = cooling_of(self._shop, self._store, batch, at_ms)
            limit = AlarmKey(unit=unit, rule=limit_rule(self._shop.unit[unit]))
            above = limit in self._host.alarms.conditions
            exempt = is_exempt(standing, batch, at_ms, above=above)
            for other in silenced:
                if exempt:
                    self._host.suppress(other, key)
                elif waits:
                    self._host.unsuppress(other, key)
            self._host.apply(
                {key: cooling_condition(self._shop, self._store, batch, standing, at_ms)}
            )

    def _without_power(self, unit: UnitId) -> bool:
        condition = self._host.alarms.conditions.get(POWER_LOSS)
        return condition is not None and unit in condition.units

    def judge_silence(self) -> None:
        """Find that all probes are silent together, or speak again."""
        standing = self._host.alarms.conditions.get(ALL_STALE)
        condition = silence_condition(
            self._shop,
            self._host.last_ms,
            standing,
            self._host.now_ms,
            since_ms=self._host.started_ms,
        )
        self._host.apply({ALL_STALE: condition})
        if condition is not None:
            known = () if standing is None else standing.units
            for unit in condition.units:
                if unit not in known:
                    self._host.suppress(AlarmKey(unit=unit, rule=Rule.STALE), ALL_STALE)
        lifts_ms = self._host.alarms.lifting.get(ALL_STALE)
        if lifts_ms is not None:
            # Whoever is still silent a stale time after the hub came back is so by itself.
            silences_s = [p.stale_s for p in self._shop.probes if p.stale_s is not None]
            back_ms = lifts_ms - round(RECOVERY_S * MS_PER_S)
            if self._host.now_ms >= back_ms + round(max(silences_s) * MS_PER_S):
                for stale in [AlarmKey(unit=unit.id, rule=Rule.STALE) for unit in self._shop.units]:
                    self._host.unsuppress(stale, ALL_STALE)
