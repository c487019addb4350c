"""The evaluator: readings, entries and time go in; alarms, messages and summaries come out.

One evaluator serves the live service and a replay alike. It reads no clock: it is
told what time it is before each thing that arrives, and does what fell due until
then, each at its own instant. What it concludes from the readings depends on them
alone; only who was told, and when, depends on when they arrived.

The order at each arrival: :meth:`Evaluator.advance` to the arrival, then
:meth:`Evaluator.observe` or :meth:`Evaluator.enter`, then :meth:`Evaluator.take_outcomes`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import ceil, inf
from typing import Final

from rimewatch.alarms.alarm import AlarmState
from rimewatch.alarms.chatter import CHATTER_S
from rimewatch.alarms.consequence import Stakes, raised_priority
from rimewatch.alarms.effects import AlarmChanged, Effect, Logged, Send
from rimewatch.alarms.engine import Engine
from rimewatch.alarms.priority import priority_of
from rimewatch.alarms.rota import first_told
from rimewatch.entries import (
    Acknowledge,
    AnyEntry,
    InService,
    Judged,
    OutOfService,
    Shelve,
    Unshelve,
)
from rimewatch.evaluation.acknowledging import missed
from rimewatch.evaluation.channels import ChannelHistory, hold_watch, limit_rule
from rimewatch.evaluation.conditions import (
    channel_conditions,
    comes_again,
    finding_condition,
    found_late,
    hold_condition,
    over_condition,
)
from rimewatch.evaluation.describe import WATCHED_RULES, described
from rimewatch.evaluation.entries_at_hand import EntriesAtHand
from rimewatch.evaluation.lot_book import LotEntries, book
from rimewatch.evaluation.lots_at_hand import LotsAtHand
from rimewatch.evaluation.mornings import next_morning, previous_morning_ms
from rimewatch.evaluation.outcome import AlarmKept, Noted, Outcome, SummaryDue
from rimewatch.evaluation.over_time import stands_since_ms
from rimewatch.evaluation.overseer import Overseer
from rimewatch.evaluation.packed_line import packed_condition, told_of_packs
from rimewatch.evaluation.power import ABOUT_TO_BE_RAISED_MS, POWER_LOSS, RECOVERY_S
from rimewatch.evaluation.resumed import Resumed
from rimewatch.evaluation.rule_bench import Place, RuleBench
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.track import OpenSpells, Track, standing
from rimewatch.evaluation.unit_air import AirWatch, Beside
from rimewatch.evaluation.unseen import WARM_BESIDE, is_above, is_rising, is_warm_beside
from rimewatch.evaluation.used_up import used_up_condition
from rimewatch.evaluation.watched import is_watched
from rimewatch.lots.hold import Hold
from rimewatch.readings import Reading
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.habits import Defrosts
from rimewatch.rules.probe_rule import Sample, UnreadProbe
from rimewatch.rules.watch import Spell
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import (
    MS_PER_DAY,
    MS_PER_MINUTE,
    MS_PER_S,
    About,
    LotId,
    Measures,
    Priority,
    ProbeId,
    Rule,
    Standing,
    UnitId,
)

AHEAD_MS: Final = 300 * MS_PER_S
"""No reading is later than that by the clock (the contract's 300 s), unless the clock was ahead
when it came: such a one is not followed before its time."""

CATCH_UP_AFTER_MS: Final = 1000
"""Late readings are folded in together, once this long has passed since the first of them."""

DEFROST_LIFTS_FISH_C: Final = 3.0
"""Fish that a probe stands in is warmed no further past its limit by a scheduled defrost (our
choice)."""
LEARNED_LIFTS_FISH_C: Final = 0.3
"""Nor by one that nobody typed: fish itself is warm then, whatever warms it (our choice)."""

MOST_MISSED_MORNINGS: Final = 31
"""So many mornings are caught up after a time in which nobody watched (our choice): no reading
can be later than 30 days."""


class Evaluator:
    """Everything that is concluded for one shop.

    Args:
        shop: The shop.
        store: Where accepted readings are found again; each is in it before it is observed.
        at_ms: When watching begins: silence is counted from here.
        resumed: What was known before a restart; None: the first start ever.
        describes: Whether messages are given the facts of their moment. They are looked up for
            whoever reads them and change nothing else.
    """

    def __init__(
        self,
        shop: Shop,
        store: ReadingStore,
        at_ms: int,
        *,
        resumed: Resumed | None = None,
        describes: bool = True,
    ) -> None:
        self.shop = shop
        self._describes = describes
        self.store = store
        self.now_ms = at_ms
        self.started_ms = at_ms
        self.alarms = AlarmState() if resumed is None else resumed.alarms
        self.entries: list[AnyEntry] = [] if resumed is None else list(resumed.entries)
        self.batteries: dict[ProbeId, float] = {} if resumed is None else dict(resumed.batteries)
        self.tracks = {seat.key: Track(seat, store) for seat in shop.seats if seat.lasts}
        self.past_tracks = {seat.key: Track(seat, store) for seat in shop.seats if not seat.lasts}
        """Channels that are over: their probe was moved, replaced or taken out since."""
        self.watching_since_ms = at_ms if resumed is None else resumed.watching_since_ms
        self._engine = Engine(shop, chatter_windows_s=CHATTER_S, recovery_s=RECOVERY_S)
        self._beside = Beside(shop)
        self._minute = -1
        self._alarms_due = (self.alarms, self._engine.next_due_ms(self.alarms))
        self._bench = RuleBench(shop, at_ms)
        self._at_hand = EntriesAtHand(self.entries)
        self._lots = LotsAtHand.of(shop, store, self._at_hand.entries())
        self._late_since_ms: int | None = None
        self.last_ms: dict[ProbeId, int] = {}
        self._overseer = Overseer(shop, store, self)
        self._overseer.use(self.entries)
        self._battery_ms: dict[ProbeId, int] = {}
        self._outcomes: list[Outcome] = []
        seen_until_ms = at_ms if resumed is None else resumed.seen_until_ms
        self._morning = next_morning(seen_until_ms, shop.summary_at, shop.timezone)
        self._carried: set[Place] = set()
        self._too_seldom: set[ProbeId] = set()
        self._new_addresses = () if resumed is None else tuple(resumed.new_addresses)
        self._inherited: set[AlarmKey] = set()
        """Limits and holds that were passed before this evaluator began, of which its own probes
        and settings show nothing: so until the unit is known to be cold."""
        self._stands_since_ms = {
            probe.id: stands_since_ms(shop, probe.id) for probe in shop.probes if shop.earlier
        }
        self._waiting: set[UnitId] = set()
        """Units beyond their limits of which nobody is told while a defrost explains it."""

    def under(self, shop: Shop) -> "Evaluator":
        """Return an evaluator that goes on from here under other settings, as after a restart.

        Args:
            shop: The settings from now on, with what held before.
        """
        after = Evaluator(
            shop,
            self.store,
            self.now_ms,
            resumed=Resumed(
                alarms=self.alarms,
                entries=self.entries,
                watching_since_ms=self.watching_since_ms,
                seen_until_ms=self.now_ms,
                batteries=self.batteries,
            ),
            describes=self._describes,
        )
        after._outcomes = self._outcomes  # what was concluded is still to be written
        for seat, track in (after.past_tracks | after.tracks).items():
            before = self.past_tracks.get(seat) or self.tracks.get(track.probe.id)
            if before is not None:
                track.go_on_from(before)
        after.load()
        return after

    # --- what arrives ---------------------------------------------------------------------

    def observe(self, reading: Reading) -> None:
        """Take an accepted reading that is new to the store (or changed what it held)."""
        probe, observed_ms, _, _, value, battery = reading
        if battery is not None and observed_ms >= self._battery_ms.get(probe, 0):
            # A backlog does not bring an old battery back.
            self._battery_ms[probe] = observed_ms
            self.batteries[probe] = battery
        if self.shop.earlier and not self._is_of_now(reading):
            return
        self._overseer.air.take(probe, observed_ms, value)
        track = self.tracks.get(probe)
        if track is not None:
            before, ended = track.state.open, len(track.ended)
            if not track.take(observed_ms, value):
                if self._late_since_ms is None:
                    self._late_since_ms = self.now_ms
            else:
                self._overseer.highs.take(track)
                if len(track.ended) > ended:
                    self._judge_over(track, track.ended[ended:])
                if track.state.open != before:
                    self._judge_spells(track, before)
        if observed_ms > self.last_ms.get(probe, -1):
            self._take_newest(probe, observed_ms, value, battery)

    def _is_of_now(self, reading: Reading) -> bool:
        """Whether a reading is of where its probe stands now.

        One that came late may be of where it stood before: then that channel takes it, and
        nothing is said of what is so now.
        """
        probe, observed_ms = reading.probe, reading.observed_ms
        for track in self.past_tracks.values():
            if track.probe.id == probe and track.seat.covers(observed_ms):
                track.take(observed_ms, reading.value)
                if track.late_from_ms is not None and self._late_since_ms is None:
                    self._late_since_ms = self.now_ms
        here = self.shop.probe.get(probe)
        return here is not None and self._stands_since_ms[probe] <= observed_ms

    def _take_newest(
        self, probe: ProbeId, observed_ms: int, value: float, battery: float | None
    ) -> None:
        """Judge how a probe is now, by a reading later than those before."""
        track, before_ms = self.tracks.get(probe), self.last_ms.get(probe)
        self.last_ms[probe] = observed_ms
        if track is not None and before_ms is not None:
            self._note_cadence(track, observed_ms - before_ms)
        beside_c = self._beside.take(probe, value)
        sample = Sample(observed_ms, value, battery, self.now_ms, beside_c)
        if places := self._bench.take(probe, sample, self.now_ms):
            self._judge_places(places)
        if self._carried:
            self._judge_carried(probe)
        self._judge_beside(probe, value)
        minute = observed_ms // MS_PER_MINUTE
        if minute > self._minute:
            self._minute = minute
            self._look(observed_ms)

    def _judge_beside(self, probe: ProbeId, value: float) -> None:
        """Judge a unit's silence anew where its air, which still speaks, is above its limit."""
        unit = self.shop.unit[self.shop.probe[probe].unit]
        if value <= unit.limit_c or self.shop.probe[probe].measures is not Measures.AIR:
            return
        told = self.alarms.conditions.get(AlarmKey(unit=unit.id, rule=Rule.STALE))
        if told is not None and told.priority is not Priority.HIGH:
            self._judge_places([(unit.id, Rule.STALE)])

    def _note_cadence(self, track: Track, elapsed_ms: int) -> None:
        """Note whether warm fish is read too seldom to be judged: then its silence lasts."""
        if elapsed_ms > track.settings.stale_ms and is_above(track):
            self._too_seldom.add(track.probe.id)
        elif track.probe.id in self._too_seldom:
            self._too_seldom.remove(track.probe.id)
            self._judge_places([(track.unit.id, Rule.STALE)])

    def _look(self, at_ms: int) -> None:
        """Look at what concerns several readings together, and at what waits for a defrost."""
        self._overseer.look(at_ms)
        packs = self._lots.units_with_packs() | told_of_packs(self.alarms.conditions)
        for unit in sorted(self._waiting | packs):
            self._judge_unit(unit)

    def _judge_spells(self, track: Track, before: OpenSpells) -> None:
        """Judge a channel's unit anew where what is open has changed so that it may matter."""
        after = track.state.open
        stood, stands = standing(before), standing(after)
        if stands == stood and track.passed(after) == track.passed(before):
            return
        if max(stands) > max(stood, default=0):
            self._overseer.judge_power(self.now_ms, ABOUT_TO_BE_RAISED_MS)
        elif POWER_LOSS in self.alarms.conditions:
            self._overseer.judge_power(self.now_ms)  # it is as bad as the worst of its units
        self._judge_unit(track.unit.id)

    def _judge_over(self, track: Track, ended: Sequence[Spell]) -> None:
        """Raise what had lasted its on-delay, where what shows it shows its end too.

        A single reading that was warm is no reason to ring for what is over; it is on record.
        Told is what a reading had confirmed, and what comes again and again: that unit is not
        sound.
        """
        lots = self.lots_in(track.unit.id)
        for spell in ended:
            found = over_condition(track.unit, spell, lots)
            if found is None or found.key in self.alarms.conditions:
                continue
            if found.key.rule is limit_rule(track.unit) and self._was_of_defrosts(track, spell):
                continue
            if self._was_confirmed(track, spell) or comes_again(track.ended, spell):
                self.apply({found.key: found})
                self.apply({found.key: None})
            else:
                self._do(self._engine.record(self.alarms, self._weighed(found), self.now_ms))

    def _was_of_defrosts(self, track: Track, spell: Spell) -> bool:
        """Whether the unit's own defrosts explain an excursion from its beginning to its end."""
        if spell.end_ms is None:
            return False
        is_fish = track.probe.measures is Measures.PRODUCT
        fish_c = spell.peak_c if is_fish else -inf
        unit = track.unit.id
        return self._is_of_defrosts(unit, spell.start_ms, round(spell.end_ms), fish_c)

    def _was_confirmed(self, track: Track, spell: Spell) -> bool:
        """Whether a reading within an excursion showed that it had lasted its on-delay."""
        if spell.sustained_ms is None or spell.end_ms is None:
            return False
        last = self.store.last_before(track.probe.id, ceil(spell.end_ms))
        return last is not None and last[0] >= spell.sustained_ms

    def leave_unread(self, unread: Sequence[UnreadProbe]) -> None:
        """Take note that a message gave no reading of these probes."""
        for probe, why in unread:
            self._judge_places(self._bench.leave_unread(probe, why, self.now_ms))

    def lose(self, probe: ProbeId) -> None:
        """Take note that a probe has said, by whoever speaks for it, that it is gone."""
        self._judge_places(self._bench.lose(probe, self.now_ms))

    def enter(self, entry: AnyEntry) -> None:
        """Take an operator's entry. One without a number is the next in the order they come."""
        if not entry.entry_number:
            entry = replace(entry, entry_number=len(self.entries) + 1)
        self.entries.append(entry)
        self._at_hand.add(entry)
        at_ms = max(self.now_ms, entry.at_ms)
        match entry:
            case Acknowledge():
                self._acknowledge(entry, at_ms)
            case Shelve() | Unshelve():
                self._shelve(entry, at_ms)
            case OutOfService():
                self._do(self._engine.out_of_service(self.alarms, entry.unit, at_ms, entry.who))
            case InService():
                self._do(self._engine.in_service(self.alarms, entry.unit, at_ms, entry.who))
            case _:
                self._judge_anew(entry.judged_anew, at_ms)

    def _judge_anew(self, what: Judged, at_ms: int) -> None:
        match what:
            case Judged.LOTS:
                self._lots = LotsAtHand.of(self.shop, self.store, self._at_hand.entries())
                for unit in self.shop.units:
                    self._judge_holds(unit.id)
            case Judged.COOLING:
                self._overseer.use(self.entries)
                self._overseer.judge_cooling(at_ms)
            case Judged.NOTHING:
                pass

    def lots_here(self) -> list[LotEntries]:
        """Return the lots that are not gone, as all entries so far have them."""
        lots = book(self._at_hand.entries()).values()
        return [lot for lot in lots if lot.withdrawn is None]

    def advance(self, now_ms: int) -> None:
        """Do everything that fell due before an instant, each thing at its own time.

        What is due *at* the instant waits, so that what arrives at it comes first.
        """
        if now_ms - self._morning[1] > MOST_MISSED_MORNINGS * MS_PER_DAY:
            earliest_ms = now_ms - MOST_MISSED_MORNINGS * MS_PER_DAY
            self._morning = next_morning(earliest_ms, self.shop.summary_at, self.shop.timezone)
        self._run_until(now_ms - 1)
        self.now_ms = max(self.now_ms, now_ms)

    def set_back(self, now_ms: int) -> None:
        """Go on from an earlier instant: a clock that was ahead has been put right."""
        self.alarms = self._engine.set_back(self.alarms, now_ms, self.now_ms - now_ms)
        self._late_since_ms = self._late_since_ms and min(self._late_since_ms, now_ms)
        for track in self.tracks.values():
            track.set_back(now_ms, self.now_ms - now_ms)
        self.now_ms = now_ms
        self._morning = next_morning(now_ms, self.shop.summary_at, self.shop.timezone)
        self._bench = RuleBench(self.shop, now_ms)
        self._overseer.air = AirWatch(self.shop, self.store)
        self.last_ms.clear()
        self._battery_ms.clear()
        self._hear_last()

    def finish(self, now_ms: int) -> None:
        """Do everything that is due up to and including an instant."""
        self.now_ms = max(self.now_ms, now_ms)
        self._run_until(self.now_ms)
        self._catch_up()

    def next_due_ms(self) -> int:
        """Return when something will be due by itself; there is always a next morning."""
        # Spelled out: it is asked before everything that arrives.
        first_ms = self._morning[1]
        if (bench_ms := self._bench.next_due_ms()) is not None and bench_ms < first_ms:
            first_ms = bench_ms
        # What an alarm has to do next is worked out once for each state of theirs.
        if self._alarms_due[0] is not self.alarms:
            self._alarms_due = (self.alarms, self._engine.next_due_ms(self.alarms))
        if (alarms_ms := self._alarms_due[1]) is not None and alarms_ms < first_ms:
            first_ms = alarms_ms
        if self._late_since_ms is not None:
            first_ms = min(first_ms, self._late_since_ms + CATCH_UP_AFTER_MS)
        return first_ms

    def take_outcomes(self) -> Sequence[Outcome]:
        """Return what there is to write and to send since the last call, in order."""
        outcomes, self._outcomes = self._outcomes, []
        return outcomes

    def load(self) -> None:
        """Fold what the store already holds, after a restart.

        A condition of a rule over single probes is carried on until its probe speaks
        again: a restart neither clears an alarm nor raises one. Whoever is on call now, and
        was not told of what stands, is.
        """
        for track in (*self.past_tracks.values(), *self.tracks.values()):
            track.load(self.now_ms + AHEAD_MS)
        self._hear_last()
        self._inherited = {key for key in self.alarms.conditions if self._is_warm_yet(key)}
        for unit in self.shop.units:
            self._judge_unit(unit.id)
        self._do(self._engine.catch_up(self.alarms, self._new_addresses, self.now_ms))

    def _is_warm_yet(self, key: AlarmKey) -> bool:
        """Whether what was told of a unit's warmth may still be so: no probe of it shows cold.

        One that was put in another's place has said nothing yet, or not for the on-delay; that
        it was replaced, or that the delay is another one now, makes no fish cold.
        """
        tracks = [track for track in self.tracks.values() if track.unit.id == key.unit]
        watch = self._watch_of(key)
        if watch is None or not tracks:
            return False
        heard = [track for track in tracks if track.state.last_ms is not None]
        return not heard or any(track.open_spell(watch) is not None for track in heard)

    def _watch_of(self, key: AlarmKey) -> str | None:
        if key.rule is Rule.HOLD_AT_RISK:
            told = self.alarms.conditions.get(key)
            level_c = None if told is None else told.limit_c
            return None if level_c is None else hold_watch(level_c)
        return key.rule.value if key.rule in WATCHED_RULES else None

    def _carried_on(
        self, conditions: dict[AlarmKey, Condition | None]
    ) -> dict[AlarmKey, Condition | None]:
        """Return conditions with those that were so before, as long as nothing shows an end."""
        for key in self._inherited & conditions.keys():
            if conditions[key] is None and self._is_warm_yet(key):
                conditions[key] = self.alarms.conditions.get(key)
            else:
                self._inherited.discard(key)
        return conditions

    def _hear_last(self) -> None:
        """Take up from each probe's last reading, and carry on what was so."""
        for probe in self.shop.probes:
            last = self.store.last_before(probe.id, self.now_ms + 1)
            if last is not None and last[0] >= self._stands_since_ms.get(probe.id, -inf):
                self.last_ms[probe.id] = last[0]
                sample = Sample(*last, self.batteries.get(probe.id))
                self._beside.take(probe.id, sample.value)
                self._bench.take(probe.id, sample, self.now_ms)
        self._overseer.load(self.now_ms)
        self._minute = max(self.last_ms.values(), default=-1) // MS_PER_MINUTE
        self._retire()
        self._carried = {
            (key.unit, key.rule)
            for key in self.alarms.conditions
            if key.unit is not None and self._bench.has(key.rule)
        }

    @property
    def has_outcomes(self) -> bool:
        """Whether there is something to write or to send."""
        return bool(self._outcomes)

    def histories(self) -> dict[ProbeId, ChannelHistory]:
        """Return what the channels have found so far, late readings included."""
        self._catch_up()
        return self._histories()

    def lots_in(self, unit: UnitId) -> tuple[LotId, ...]:
        """Return the lots that stand in a unit now."""
        return tuple(lot.lot for lot in self._lots.standing_in(unit))

    def holds_in(self, unit: UnitId) -> dict[LotId, Hold]:
        """Return the holds of the lots that stand in a unit, as far as they have come."""
        if not self._lots.freezing_in(unit):
            return {}
        return self._lots.holds_in(unit, self._histories(), self.now_ms)

    def used_up(self, unit: Unit, told: Condition | None, at_ms: int) -> Condition | None:
        """Return that fish in a unit has used up most or all of its time in the warm."""
        lots = self._lots.standing_in(unit.id)
        return used_up_condition(self.shop, self.store, self._histories(), unit, lots, told, at_ms)

    def defrosts(self, unit: UnitId) -> Defrosts | None:
        """Return what a unit's defrosts are like, as its own air has shown; None: not known."""
        return self._overseer.air.defrosts(unit)

    def kilograms_of(self, lots: Sequence[LotId]) -> float | None:
        """Return what some lots weigh, as far as it was entered; None: nobody has."""
        return self._lots.kilograms_of(lots)

    def standings_of(self, lots: Sequence[LotId]) -> tuple[tuple[LotId, Standing], ...]:
        """Return what may be said of some lots now, as every surface says it."""
        return self._lots.standings_of(lots, self._histories(), self.now_ms)

    def _histories(self) -> dict[ProbeId, ChannelHistory]:
        every = self.past_tracks | self.tracks
        return {seat: track.history() for seat, track in every.items()}

    # --- what follows ---------------------------------------------------------------------

    def _acknowledge(self, entry: Acknowledge, at_ms: int) -> None:
        if missed(entry, self.alarms):
            return
        key = AlarmKey(unit=entry.unit, rule=entry.rule)
        back_s = None if entry.back_within_min is None else entry.back_within_min * 60.0
        self._do(self._engine.acknowledge(self.alarms, key, at_ms, entry.who, back_within_s=back_s))

    def _shelve(self, entry: Shelve | Unshelve, at_ms: int) -> None:
        key = AlarmKey(unit=entry.unit, rule=entry.rule)
        if isinstance(entry, Unshelve):
            self._do(self._engine.unshelve(self.alarms, key, at_ms, entry.who))
            return
        # Its minutes run from when it was entered, whether or not anybody was at work.
        until_ms = entry.at_ms + round(entry.minutes * MS_PER_MINUTE)
        if until_ms > at_ms:
            self._do(self._engine.shelve(self.alarms, key, at_ms, until_ms, entry.who))

    def _retire(self) -> None:
        """End the alarms of what the configuration does not have any more."""
        state = self.alarms
        known = {*state.conditions, *state.alarms, *state.shelves, *state.suppressed}
        gone = {key for key in known if not is_watched(self.shop, self._bench, key)}
        self._do(self._engine.retire(state, gone, self.shop.unit, self.now_ms))

    def _run_until(self, until_ms: int) -> None:
        while (due_ms := self.next_due_ms()) <= until_ms:
            self.now_ms = max(self.now_ms, due_ms)
            late_ms = self._late_since_ms
            if late_ms is not None and due_ms >= late_ms + CATCH_UP_AFTER_MS:
                self._catch_up()
                continue
            self._judge_places(self._bench.look_at_due(due_ms))
            self._do(self._engine.advance(self.alarms, due_ms))
            if self._morning[1] <= due_ms:
                self._greet_morning()

    def _catch_up(self) -> None:
        self._late_since_ms = None
        for track in self.past_tracks.values():
            if track.late_from_ms is not None:
                track.catch_up(self.now_ms + AHEAD_MS)
                if track.unit.id in self.shop.unit:
                    self._judge_unit(track.unit.id)
        for track in self.tracks.values():
            late_from_ms = track.late_from_ms
            if late_from_ms is not None:
                known = [*track.ended, *filter(None, track.state.open)]
                track.catch_up(self.now_ms + AHEAD_MS)
                self._judge_over(track, found_late(track.ended, known, late_from_ms))
                self._judge_unit(track.unit.id)

    def _greet_morning(self) -> None:
        self._catch_up()
        day, at_ms = self._morning
        before_ms = previous_morning_ms(day, self.shop.summary_at, self.shop.timezone)
        contacts = first_told(self.shop, at_ms)
        self._outcomes.append(
            SummaryDue(
                day=day,
                from_ms=max(before_ms, self.watching_since_ms),
                to_ms=at_ms,
                contacts=contacts,
            )
        )
        self._morning = next_morning(at_ms, self.shop.summary_at, self.shop.timezone)

    def _judge_unit(self, unit: UnitId) -> None:
        tracks = [track for track in self.tracks.values() if track.unit.id == unit]
        conditions = self._carried_on(
            channel_conditions(self.shop.unit[unit], tracks, self.lots_in(unit))
        )
        limit = AlarmKey(unit=unit, rule=limit_rule(self.shop.unit[unit]))
        if self._may_wait(limit, conditions[limit], tracks):
            self._waiting.add(unit)
            conditions[limit] = None
        else:
            self._waiting.discard(unit)
        line = AlarmKey(unit=unit, rule=Rule.OPERATING_LIMIT)
        if conditions.get(line) is None:
            conditions[line] = self._packed(unit)
        if conditions[limit] is not None:
            # What was foretold has come: one alarm speaks of it, the graver one.
            self.suppress(AlarmKey(unit=unit, rule=Rule.PROJECTION), limit)
        self.apply(conditions)
        self._judge_holds(unit)

    def _packed(self, unit: UnitId) -> Condition | None:
        """Return that packed fish in a unit is above its own line."""
        told = self.alarms.conditions.get(AlarmKey(unit=unit, rule=Rule.OPERATING_LIMIT))
        lots = self._lots.packed_in(unit)
        known = [
            track.state.governing_c
            for track in self.tracks.values()
            if track.unit.id == unit and track.state.last_ms is not None
        ]
        if not lots or not known:
            return None
        of = self.shop.unit[unit]
        return packed_condition(self.shop, self.store, of, lots, told, max(known), self.now_ms)

    def _may_wait(
        self, key: AlarmKey, condition: Condition | None, tracks: Sequence[Track]
    ) -> bool:
        """Whether an excursion beyond a limit is what the unit's own defrosts bring about.

        Then its alarm is raised only on leaving them. Fish that is measured itself, and is well
        past its limit, is none of their doing.
        """
        if condition is None or key in self.alarms.conditions or key.unit is None:
            return False
        known = [track for track in tracks if track.state.last_ms is not None]
        at_ms = max(track.state.last_ms or 0 for track in known)
        fish_c = max(
            (t.state.governing_c for t in known if t.probe.measures is Measures.PRODUCT),
            default=-inf,
        )
        return self._is_of_defrosts(key.unit, condition.since_ms, at_ms, fish_c)

    def _is_of_defrosts(self, unit: UnitId, since_ms: float, at_ms: int, fish_c: float) -> bool:
        """Whether a unit's own defrosts explain its warmth; ``fish_c``: fish measured itself."""
        lifted_c = fish_c - self.shop.unit[unit].limit_c
        if lifted_c > DEFROST_LIFTS_FISH_C:
            return False
        if lifted_c > LEARNED_LIFTS_FISH_C:
            return self._overseer.air.in_window(unit, since_ms, at_ms)
        return self._overseer.air.in_defrost(unit, since_ms, at_ms)

    def _judge_holds(self, unit: UnitId) -> None:
        lots = self._lots.freezing_in(unit)
        key = AlarmKey(unit=unit, rule=Rule.HOLD_AT_RISK)
        if not lots and key not in self.alarms.conditions:
            return
        histories = self._histories()
        condition = hold_condition(self.shop, self.store, histories, unit, lots, self.now_ms)
        foretold = self.alarms.conditions.get(AlarmKey(unit=unit, rule=Rule.PROJECTION))
        if condition is not None and foretold is not None and foretold.held_h is not None:
            # As with a limit: what was foretold has come, and one alarm speaks of it.
            self.suppress(foretold.key, key)
        # Without a lot there is nothing to be at risk, whatever the freezer does.
        self.apply(self._carried_on({key: condition}) if lots else {key: None})

    def suppress(self, key: AlarmKey, by_key: AlarmKey) -> None:
        """Silence an alarm by design, because another one tells of the cause of both."""
        if by_key not in self.alarms.suppressed.get(key, frozenset()):
            self._do(self._engine.suppress(self.alarms, key, by_key, self.now_ms))

    def unsuppress(self, key: AlarmKey, by_key: AlarmKey) -> None:
        """Let a cause no longer silence an alarm; what is still so is raised."""
        self._do(self._engine.unsuppress(self.alarms, key, by_key, self.now_ms))

    def _judge_places(self, places: Sequence[Place]) -> None:
        if any(rule is Rule.STALE for _, rule in places):
            self._overseer.judge_silence()
        for unit, rule in places:
            key = AlarmKey(unit=unit, rule=rule)
            condition = finding_condition(key, self._bench.findings((unit, rule)))
            self.apply({key: self._unseen(key, condition) if rule is Rule.STALE else condition})

    def _unseen(self, key: AlarmKey, condition: Condition | None) -> Condition | None:
        """Return a silence as urgent as what was last seen makes it.

        Warm fish that is read less often than its stale time is silent as before: no stretch
        of it is monitored, so that its limit has no alarm.
        """
        tracks = [track for track in self.tracks.values() if track.unit.id == key.unit]
        if condition is None:
            seldom = any(track.probe.id in self._too_seldom for track in tracks)
            standing = self.alarms.conditions.get(key)
            is_urgent = standing is not None and standing.priority is Priority.HIGH
            return standing if seldom and is_urgent else None
        silent = set(self._bench.found_on((tracks[0].unit.id, key.rule))) if tracks else set()
        # A probe in another's place has said nothing yet: what its unit was last seen to be counts.
        unheard = [self._speaking_last(track) for track in tracks if track.probe.id in silent]
        if any(is_above(track) or is_rising(self.shop, self.store, track) for track in unheard):
            limit_c = self.shop.unit[tracks[0].unit.id].limit_c
            return replace(condition, priority=Priority.HIGH, limit_c=limit_c)
        if any(is_warm_beside(self.shop, self.store, track, self.now_ms) for track in unheard):
            # No line is named: the fish itself was last seen below it.
            detail = "; ".join(part for part in (condition.detail, WARM_BESIDE) if part)
            return replace(condition, priority=Priority.HIGH, detail=detail)
        return condition

    def _speaking_last(self, track: Track) -> Track:
        """Return the channel that last told of a unit, for one whose probe has told nothing yet."""
        if track.state.last_ms is not None:
            return track
        before = [
            past
            for past in self.past_tracks.values()
            if past.unit.id == track.unit.id and past.state.last_ms is not None
        ]
        return max(before, key=lambda past: past.state.last_ms or 0, default=track)

    def _judge_carried(self, probe: ProbeId) -> None:
        spoken = self._carried & self._bench.places_of(probe)
        self._carried -= spoken
        self._judge_places(sorted(spoken))

    def apply(self, conditions: Mapping[AlarmKey, Condition | None]) -> None:
        """Say of each condition that it is so, or (None) that it no longer is."""
        for key, found in conditions.items():
            if found is not None:
                weighed = self._weighed(found)
                self._do(self._engine.set_condition(self.alarms, weighed, self.now_ms))
            elif key in self.alarms.conditions:
                self._do(self._engine.clear_condition(self.alarms, key, self.now_ms))

    def _weighed(self, condition: Condition) -> Condition:
        """Return a condition with the priority that what is at stake gives it."""
        rule, unit, at_stake = condition.key.rule, condition.key.unit, self.shop.at_stake
        if unit is None or (at_stake.kilograms is None and at_stake.hold_h is None):
            return condition
        priority = priority_of(rule, self.shop.priorities, condition.priority)
        held_h = None
        if at_stake.hold_h is not None:
            held_h = max(self._held_h(unit), default=None)
        stakes = Stakes(kilograms=self.kilograms_of(self.lots_in(unit)), held_h=held_h)
        raised = raised_priority(rule, priority, stakes, at_stake)
        return condition if raised is None else replace(condition, priority=raised)

    def _held_h(self, unit: UnitId) -> list[float]:
        """Return the hours that are at stake in each hold of a unit that is not complete."""
        holds = self.holds_in(unit).values()
        return [hold.at_stake_h for hold in holds if hold.completed_ms is None]

    def _do(self, result: tuple[AlarmState, tuple[Effect, ...]]) -> None:
        self.alarms, effects = result
        for effect in effects:
            match effect:
                case AlarmChanged():
                    self._outcomes.append(AlarmKept(alarm=effect.alarm))
                case Send():
                    self._outcomes.append(self._message(effect))
                case Logged():
                    self._outcomes.append(Noted(at_ms=effect.at_ms, text=effect.text))

    def _message(self, send: Send) -> Send:
        """Return a message with the facts of the moment."""
        if not self._describes:
            return send
        facts, above_s = described(send.condition, self.shop, self.store, self.tracks, self)
        if send.about is not About.RETURNED and send.key.rule in WATCHED_RULES:
            facts = self._as_warm_as_it_was(facts)
        return replace(send, condition=facts, above_s=above_s)

    def _as_warm_as_it_was(self, facts: Condition) -> Condition:
        """Return what is told of fish that is cold again already with how warm it was."""
        rule = facts.key.rule.value
        tracks = [track for track in self.tracks.values() if track.unit.id == facts.key.unit]
        if facts.peak_c is None or any(track.open_spell(rule) is not None for track in tracks):
            return facts
        return replace(facts, fish_c=facts.peak_c)
