"""What a shop is promised of its nights, asked of a played week by the fish's true temperature.

The oracle is the plant: nothing here asks the service's own evaluator what was so.
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

from rimewatch.vocabulary import About, Rule
from simulation.plant import (
    EVERY_DAY,
    FREEZER,
    FURTHER_C,
    LIMIT_C,
    ON_DELAY_MS,
    REPEAT_MS,
    Trouble,
)
from simulation.shop_week import Heard, WeekRun
from simulation.week import OPTIONS, is_open
from simulation.world import HOUR, MINUTE, S

SURE_C: Final = 0.6
"""Beyond a line by so much, noise and the probe's own lag leave no doubt that it is passed."""
GRACE_MS: Final = 60 * S
FAULTY_MS: Final = 3 * MINUTE
"""What a death, a broken link or a phone that refuses may cost beyond its own length: reconnecting,
and the wait before the next try."""
WARM_RULES: Final = frozenset({Rule.HOLDING, Rule.FREEZER})
CLOCKS: Final = ("stopped", "slow", "late", "ahead")
UNSEEN: Final = ("silence", "backlog", *CLOCKS)
FADES_MS: Final = 3 * HOUR
"""So long after a trouble its messages may still come."""


@dataclass(slots=True)
class Judgement:
    """What was found of some weeks."""

    broken: list[str] = field(default_factory=list)
    latencies_s: list[float] = field(default_factory=list)
    """From the fish passing its limit to the phone that tells of it; negative: told before."""
    warm_times: int = 0
    holds: int = 0
    """Holds that are complete, by option's name in ``completed``."""
    completed: dict[str, int] = field(default_factory=dict)


def judged(run: WeekRun) -> Judgement:
    """Return which promises a week broke, a sentence each, beginning with the promise."""
    found = _Week(run)
    found.judgement.broken = [
        *run.found,
        *found.untold(),
        *found.not_told_again(),
        *found.opposite(),
        *found.untrue_holds(),
        *found.missed_holds(),
        *found.newcomers(),
        *found.for_ever(),
        *found.woken_for_nothing(),
        *found.all_silent(),
        *found.over_and_over(),
        *found.delivered(),
        *found.mornings(),
    ]
    return found.judgement


class _Week:
    def __init__(self, run: WeekRun) -> None:
        self.run = run
        self.week = run.week
        self.judgement = Judgement()
        self.units = list(run.week.courses)
        self.every_ms = run.week.every_ms

    # --- what was so --------------------------------------------------------------------------

    def _fish_c(self, unit: str, at_ms: int) -> float:
        curve = self.week.courses[unit].fish_c
        step = (at_ms - self.week.start_ms) // self.every_ms
        return curve[min(max(step, 0), len(curve) - 1)]

    def _is_warming(self, unit: str, at_ms: int) -> bool:
        """Whether a unit's air is warmer than usual, and rises: the fish follows it later."""
        airs = self.week.courses[unit].air_c
        step = min((at_ms - self.week.start_ms) // self.every_ms, len(airs) - 1)
        before = max(0, step - max(1, 10 * MINUTE // self.every_ms))
        return airs[step] > airs[before] + 0.5

    def _limit_c(self, unit: str, at_ms: int) -> float:
        if unit != "case-1":
            return LIMIT_C[unit]
        return [setup.limit_c for from_ms, setup in self.run.setups if from_ms <= at_ms][-1]

    def _is_watched(self, unit: str, from_ms: int, to_ms: int) -> bool:
        if unit != "case-3":
            return True
        before = [setup for at_ms, setup in self.run.setups if at_ms <= from_ms][-1]
        after = [setup for at_ms, setup in self.run.setups if from_ms < at_ms <= to_ms]
        return all(setup.has_third for setup in (before, *after))

    def _above(
        self, unit: str, line_c: float | None, lasting_ms: int
    ) -> Iterator[tuple[int, int, int]]:
        """Yield when fish passed a line, or its limit, was surely above it, and no more.

        Only where it surely was for so long.
        """
        passed_ms: int | None = None
        sure_ms: int | None = None
        for step, fish_c in enumerate([*self.week.courses[unit].fish_c, -99.0]):
            at_ms = self.week.start_ms + step * self.every_ms
            limit_c = line_c
            if limit_c is None:
                limit_c = self._limit_c(unit, min(at_ms, self.week.over_ms - 1))
            if fish_c > limit_c and passed_ms is None:
                passed_ms = at_ms
            elif fish_c <= limit_c:
                if sure_ms is not None and passed_ms is not None and at_ms - sure_ms >= lasting_ms:
                    yield passed_ms, sure_ms, at_ms
                passed_ms = sure_ms = None
            if fish_c > limit_c + SURE_C and sure_ms is None:
                sure_ms = at_ms

    def _troubles(self, what: Sequence[str], unit: str, from_ms: int, to_ms: int) -> list[Trouble]:
        return [
            t
            for t in self.week.troubles
            if t.what in what and unit in t.units and t.from_ms < to_ms and t.to_ms > from_ms
        ]

    def _is_shelved(self, unit: str, from_ms: int, to_ms: int) -> bool:
        return any(
            s < to_ms and e + 5 * MINUTE > from_ms and where in (unit, None)
            for s, e, where, rule in self.run.shelved
            if rule != Rule.POWER_LOSS.value  # then the units speak for themselves
        )

    def _was_put_aside(self, heard: Heard, from_ms: int, to_ms: int) -> bool:
        """Whether what a message was about was put aside before or while it mattered."""
        key = self.run.alarms[heard.row.alarm_id or ""].key
        return any(
            heard.at_ms < s < to_ms and e > from_ms and (unit, rule) == (key.unit, key.rule.value)
            for s, e, unit, rule in self.run.shelved
        )

    def _faulty_ms(self, from_ms: int, to_ms: int) -> int:
        """Return by how much what goes wrong with service, link and phones may make late."""
        found = 0
        for fault in self.week.faults:
            begins_ms = self.week.start_ms + fault.at_ms
            ends_ms = begins_ms + fault.for_ms + FAULTY_MS
            if begins_ms < to_ms and ends_ms > from_ms:
                found += fault.for_ms + FAULTY_MS
        return found

    def _about(self, unit: str) -> list[Heard]:
        return [h for h in self.run.heard if h.row.alarm_id and unit in self._units_of(h)]

    def _units_of(self, heard: Heard) -> tuple[str, ...]:
        assert heard.row.alarm_id is not None
        return self.run.alarms[heard.row.alarm_id].units

    def _rule_of(self, heard: Heard) -> Rule | None:
        if heard.row.alarm_id is None:
            return None
        return self.run.alarms[heard.row.alarm_id].key.rule

    # --- promises -----------------------------------------------------------------------------

    def untold(self) -> Iterator[str]:
        """Somebody is told of fish above its limit within the on-delay, two readings and 60 s."""
        for unit in self.units:
            told = [h for h in self._about(unit) if h.row.about is not About.RETURNED]
            for passed_ms, sure_ms, to_ms in self._above(unit, None, ON_DELAY_MS):
                due_ms = sure_ms + ON_DELAY_MS + 2 * self.every_ms + GRACE_MS
                rules = {Rule.HOLDING, Rule.FREEZER, Rule.POWER_LOSS}
                if self._troubles(("silence", "backlog"), unit, passed_ms - HOUR, due_ms):
                    rules.add(Rule.STALE)  # a clock that fails is no silence
                if self._has_no_way(unit, passed_ms, sure_ms, to_ms):
                    continue
                due_ms += self._late_by_ms(unit, passed_ms, sure_ms, due_ms)
                due_ms += self._faulty_ms(passed_ms, due_ms)
                if to_ms < due_ms:
                    continue
                self.judgement.warm_times += 1
                mine = [h for h in told if self._rule_of(h) in rules]
                standing = [
                    h.at_ms
                    for h in mine
                    if h.at_ms <= due_ms
                    and not self._was_put_aside(h, passed_ms, due_ms)
                    and (
                        (over := self.run.alarms[h.row.alarm_id or ""].returned_ms) is None
                        or over > passed_ms
                    )
                ]
                if standing:
                    self.judgement.latencies_s.append((min(standing) - passed_ms) / S)
                    continue
                later = [h.at_ms for h in mine if h.at_ms > passed_ms]
                when = f"{(min(later) - sure_ms) / MINUTE:.0f} min later" if later else "never"
                yield f"untold: {unit} too warm from {_clock(sure_ms)}, told {when}"

    def _late_by_ms(self, unit: str, passed_ms: int, sure_ms: int, due_ms: int) -> int:
        """Return what a clock that goes wrong and a changed limit or probe may cost."""
        late_ms = 0
        if self._troubles(CLOCKS, unit, passed_ms - HOUR, due_ms):
            late_ms += 3 * self.every_ms + 4 * self.every_ms  # a gap, and what shows the fault
        for at_ms, what, _, _ in self.run.reloaded:
            mine = (what == "limit" and unit == "case-1") or (what == "unit" and unit == "case-3")
            probe = what == "probe" and unit == "case-1"
            if (mine or probe) and passed_ms - 30 * MINUTE < at_ms < due_ms:
                late_ms += max(0, at_ms - sure_ms) + ON_DELAY_MS + 2 * self.every_ms
        return late_ms

    def _has_no_way(self, unit: str, passed_ms: int, sure_ms: int, to_ms: int) -> bool:
        """Whether nobody need be told: put aside, or silent since it was cold.

        One unit that falls silent while it is cold, and warms unseen, is a medium alarm by the
        contract: at night nobody hears of it. A backlog tells late what is over.
        """
        if self._is_shelved(unit, passed_ms, to_ms) or not self._is_watched(unit, passed_ms, to_ms):
            return True
        if to_ms - passed_ms < 90 * MINUTE and self._troubles(
            ("defrost",), unit, passed_ms - HOUR // 2, sure_ms
        ):
            return True  # its own defrost explains it, and is told of only if it does not end
        quiet = self._troubles(("silence", "backlog"), unit, passed_ms, to_ms)
        return any(
            len(t.units) < len(self.units) and t.from_ms < sure_ms + ON_DELAY_MS for t in quiet
        )

    def not_told_again(self) -> Iterator[str]:
        """Whoever was told is told again when the fish passes a further line."""
        for unit in self.units:
            told = [h for h in self._about(unit) if h.row.about is not About.RETURNED]
            for line_c in FURTHER_C[unit]:
                for passed_ms, sure_ms, to_ms in self._above(unit, line_c, HOUR):
                    if self._troubles(UNSEEN, unit, passed_ms - HOUR, to_ms):
                        continue
                    if self._is_shelved(unit, passed_ms - HOUR, to_ms):
                        continue
                    if not self._is_watched(unit, passed_ms - HOUR, to_ms):
                        continue
                    late_ms = 2 * self.every_ms + GRACE_MS
                    if not self._is_acknowledged(unit, passed_ms):
                        late_ms += REPEAT_MS  # it is told over and over anyway
                    from_ms, until_ms = passed_ms - 2 * self.every_ms, sure_ms + late_ms
                    until_ms += self._faulty_ms(from_ms, until_ms)
                    until_ms += self._late_by_ms(unit, passed_ms, sure_ms, until_ms)
                    if not any(from_ms <= h.at_ms <= until_ms for h in told):
                        yield f"not told again: {unit} past {line_c} °C at {_clock(passed_ms)}"

    def _is_acknowledged(self, unit: str, at_ms: int) -> bool:
        """Whether what stands of a unit was acknowledged, and nobody told anew since."""
        deeds = [
            (done_ms, alarm)
            for done_ms, _, alarm in self.run.acknowledged
            if done_ms < at_ms and unit in self.run.alarms[alarm].units
        ]
        if not deeds:
            return False
        done_ms, alarm = deeds[-1]
        over_ms = self.run.alarms[alarm].returned_ms
        if over_ms is not None and over_ms <= at_ms:
            return False
        return not any(
            h.row.about is not About.RETURNED and done_ms + MINUTE < h.at_ms < at_ms - MINUTE
            for h in self._about(unit)
        )

    def opposite(self) -> Iterator[str]:
        """Nobody is told the opposite of what is so: neither over, nor back, nor warm."""
        for heard in self.run.heard:
            at_ms, rule = heard.row.at_ms, self._rule_of(heard)
            if rule is None or heard.row.alarm_id is None:
                continue
            alarm = self.run.alarms[heard.row.alarm_id]
            unit = alarm.key.unit
            if heard.row.about is About.RETURNED:
                yield from self._wrongly_over(rule, alarm.units, unit, at_ms)
            elif rule is Rule.POWER_LOSS:
                went = [t for t in self.week.troubles if t.what == "power" and t.from_ms <= at_ms]
                lately = any(at_ms < t.to_ms + FADES_MS for t in went)
                if not lately and not self._coincides(alarm.units, at_ms):
                    yield f"opposite: power called lost at {_clock(at_ms)}, and it is not"
            elif rule in WARM_RULES and unit is not None:
                recently_ms = 30 * MINUTE
                if self._troubles(UNSEEN, unit, at_ms - 2 * HOUR, at_ms):
                    continue
                if any(abs(r - at_ms) < HOUR for r, w, _, _ in self.run.reloaded if w):
                    continue
                first = at_ms - recently_ms
                warmest = max(self._fish_c(unit, ms) for ms in range(first, at_ms, self.every_ms))
                if warmest < self._limit_c(unit, at_ms) - SURE_C:
                    yield f"opposite: {unit} called too warm at {warmest:.1f} °C, {_clock(at_ms)}"

    def _wrongly_over(
        self, rule: Rule, units: Sequence[str], unit: str | None, at_ms: int
    ) -> Iterator[str]:
        if rule is Rule.POWER_LOSS:
            out = [t for t in self.week.troubles if t.what == "power" and t.holds(at_ms)]
            warmer = [name for name in units if self._is_warming(name, at_ms)]
            if out:
                yield f"opposite: power back at {_clock(at_ms)}, and it is out"
            elif len(warmer) == len(units):
                yield f"opposite: power back at {_clock(at_ms)}, and all are warming"
        elif rule in WARM_RULES and unit is not None:
            fish_c, limit_c = self._fish_c(unit, at_ms), self._limit_c(unit, at_ms)
            if fish_c > limit_c + SURE_C and self._is_watched(unit, at_ms - HOUR, at_ms + MINUTE):
                yield f"opposite: {unit} normal again at {fish_c:.1f} °C, {_clock(at_ms)}"
        elif rule is Rule.HOLD_AT_RISK and unit is not None:
            fish_c = self._fish_c(unit, at_ms)
            if fish_c > -20.0 + SURE_C:
                yield f"opposite: {unit} holds again at {fish_c:.1f} °C, {_clock(at_ms)}"
        elif rule is Rule.STALE and unit is not None:
            silent = self._troubles(("silence",), unit, at_ms - self.every_ms, at_ms)
            if any(t.from_ms < at_ms - 10 * MINUTE and t.holds(at_ms) for t in silent):
                yield f"opposite: {unit} heard again at {_clock(at_ms)}, and it is silent"

    def untrue_holds(self) -> Iterator[str]:
        """No hold is complete that was not true."""
        for lot in self.run.ledger["lots"]:
            if lot["completed"] is None:
                continue
            option = lot["option"]
            completed = self.judgement.completed
            completed[option] = completed.get(option, 0) + 1
            level_c, hours = OPTIONS[option]
            from_ms, to_ms = (
                round(datetime.fromisoformat(lot[key]).timestamp() * S)
                for key in ("started", "completed")
            )
            said = f"hold: {lot['lot']} by {option} complete"
            if to_ms - from_ms < hours * HOUR - S:
                yield f"{said} after {(to_ms - from_ms) / HOUR:.1f} h"
            if to_ms > self.week.over_ms:
                yield f"{said} in the future"
            span = range(from_ms + self.every_ms, to_ms, self.every_ms)
            warmest = max((self._fish_c(FREEZER, ms) for ms in span), default=-99.0)
            if warmest > level_c:
                yield f"{said}, and its fish was at {warmest:.1f} °C"
            for t in self._troubles(UNSEEN, FREEZER, from_ms, to_ms):
                inside = t.from_ms > from_ms and t.to_ms < to_ms
                if t.what in ("silence", "stopped", "slow") and inside:
                    yield f"{said} over {t.what} from {_clock(t.from_ms)}"

    def missed_holds(self) -> Iterator[str]:
        """A hold that nothing disturbed is complete in time."""
        lots = {lot["lot"]: lot for lot in self.run.ledger["lots"]}
        for hold in self.week.holds:
            level_c, hours = OPTIONS[hold.option]
            due_ms = hold.from_ms + (hours + 1) * HOUR
            if "35C" in hold.option:
                level_c, due_ms = -36.0, due_ms + HOUR
            if due_ms > self.week.over_ms:
                continue
            span = range(hold.from_ms, due_ms, self.every_ms)
            if self._troubles((*UNSEEN, "gap"), FREEZER, hold.from_ms, due_ms):
                continue
            if max(self._fish_c(FREEZER, ms) for ms in span) > level_c - SURE_C:
                continue
            if self._faulty_ms(hold.from_ms, due_ms) > 20 * MINUTE:
                continue
            self.judgement.holds += 1
            lot = lots.get(hold.lot)
            if lot is None or lot["completed"] is None:
                yield f"missed hold: {hold.lot} by {hold.option} was true and is not complete"

    def newcomers(self) -> Iterator[str]:
        """Whoever comes to be on call, or gets another address, knows of what stands."""
        for at_ms, what, path, standing in self.run.reloaded:
            if what not in ("contact", "address"):
                continue
            later_ms = at_ms + 2 * MINUTE
            later_ms += self._faulty_ms(at_ms - 10 * MINUTE, later_ms)
            if any(at_ms < other <= later_ms for other, _, _, _ in self.run.reloaded):
                continue
            for alarm in standing:
                after = self.run.alarms[alarm.id]
                if alarm.priority.value != "high" or (
                    after.returned_ms is not None and after.returned_ms <= later_ms
                ):
                    continue
                if any(at_ms <= e and s <= at_ms for s, e, _, _ in self.run.shelved):
                    continue
                heard = any(
                    h.path == path and h.row.alarm_id == alarm.id and h.at_ms <= later_ms
                    for h in self.run.heard
                )
                if not heard:
                    yield f"newcomer: {path} was not told of {alarm.id}"

    def for_ever(self) -> Iterator[str]:
        """An acknowledgement does not last for ever: what still stands is told again."""
        for at_ms, lasts_ms, alarm_id in self.run.acknowledged:
            alarm = self.run.alarms[alarm_id]
            over_ms = alarm.returned_ms or self.week.over_ms
            due_ms = at_ms + lasts_ms + 2 * MINUTE
            due_ms += self._faulty_ms(at_ms + lasts_ms - 10 * MINUTE, due_ms)
            again = [
                other
                for other, _, which in self.run.acknowledged
                if which == alarm_id and at_ms < other < due_ms
            ]
            if over_ms <= due_ms or alarm.priority.value != "high" or again:
                continue
            if any(s < due_ms and e > at_ms for s, e, _, _ in self.run.shelved):
                continue
            # A graver alarm of the same unit tells of it as well.
            told = [h for unit in alarm.units for h in self._about(unit)]
            if not any(
                at_ms + MINUTE < h.at_ms <= due_ms and h.row.about is not About.RETURNED
                for h in told
            ):
                yield f"for ever: {alarm_id} was acknowledged and never told again"

    def woken_for_nothing(self) -> Iterator[str]:
        """Sound nights wake nobody."""
        for heard in self.run.heard:
            if not heard.row.urgent or heard.row.alarm_id is None:
                continue
            at_ms, alarm = heard.row.at_ms, self.run.alarms[heard.row.alarm_id]
            lately = [
                t
                for t in self.week.troubles
                if t.what not in EVERY_DAY
                and t.from_ms <= at_ms < t.to_ms + FADES_MS
                and set(t.units) & set(alarm.units)
            ]
            said = f"{alarm.key.rule.value} of {', '.join(alarm.units)} at {_clock(at_ms)}"
            # A unit that was not looked at for a while is told of as it was last seen.
            known = all(self._is_watched(unit, at_ms - HOUR, at_ms) for unit in alarm.units)
            # A probe that is put in another's place sees fish through its lag from then on.
            known &= not any(
                what == "probe" and "case-1" in alarm.units and at_ms - HOUR < reloaded_ms < at_ms
                for reloaded_ms, what, _, _ in self.run.reloaded
            )
            if not lately and known and at_ms < self.week.over_ms:
                if not self._is_warm(alarm.units, at_ms) and not self._coincides(
                    alarm.units, at_ms
                ):
                    yield f"for nothing: woken by {said}, and nothing is wrong"
            elif alarm.key.rule is Rule.STALE and alarm.key.unit is not None:
                unit = alarm.key.unit
                warm = {"power", "compressor"} & {t.what for t in lately}
                # By the contract what rose for the last half hour counts as rising on.
                warm |= {
                    t.what
                    for t in self._troubles(("defrost", "door"), unit, at_ms - 2 * HOUR, at_ms)
                }
                if not warm and self._fish_c(unit, at_ms) < self._limit_c(unit, at_ms) - 2.0:
                    yield f"for nothing: woken by {said}, and the fish is cold"

    def all_silent(self) -> Iterator[str]:
        """Everything silent wakes somebody within the stale time, two readings and 60 s."""
        for t in self.week.troubles:
            if t.what != "silence" or len(t.units) < len(self.units):
                continue
            due_ms = t.from_ms + 5 * self.every_ms + GRACE_MS
            due_ms += self._faulty_ms(t.from_ms, due_ms)
            put_aside = any(s < due_ms and e > t.from_ms for s, e, _, _ in self.run.shelved)
            # A process that begins anew counts silence from then on.
            begun = [at_ms for at_ms, _, _, _ in self.run.reloaded if t.from_ms < at_ms < due_ms]
            due_ms += 4 * self.every_ms * len(begun)
            if put_aside or t.to_ms < due_ms + self.every_ms:
                continue
            told = [
                h
                for h in self.run.heard
                if t.from_ms < h.at_ms <= due_ms
                and self._rule_of(h) in (Rule.STALE, Rule.POWER_LOSS)
            ]
            if not told:
                yield f"all silent: from {_clock(t.from_ms)}, and nobody was woken"

    def over_and_over(self) -> Iterator[str]:
        """What nobody has acknowledged is told over and over."""
        for alarm in self.run.alarms.values():
            unit = alarm.key.unit
            if alarm.key.rule not in WARM_RULES or unit is None:
                continue
            told = [h.at_ms for h in self._about(unit) if h.row.about is not About.RETURNED]
            mine = [h.at_ms for h in self.run.heard if h.row.alarm_id == alarm.id]
            if not mine:
                continue
            over_ms = min(alarm.returned_ms or self.week.over_ms, self.week.over_ms)
            times = [ms for ms in told if mine[0] <= ms <= over_ms]
            for before, after in itertools.pairwise([*times, over_ms]):
                late_ms = self._faulty_ms(before, after)
                if after - before <= 2 * REPEAT_MS + 2 * self.every_ms + late_ms:
                    continue
                answered = any(
                    which == alarm.id and before - 5 * HOUR < at_ms < after
                    for at_ms, _, which in self.run.acknowledged
                )
                explained = self._troubles(("power",), unit, before - 6 * HOUR, after)
                watched = self._is_watched(unit, before, after)
                if answered or explained or not watched or self._is_shelved(unit, before, after):
                    continue
                yield f"over and over: {alarm.id} was told at {_clock(before)}, and no more"

    def delivered(self) -> Iterator[str]:
        """Whoever the record says was told was told."""
        shown = {heard.row.idempotency_key for heard in self.run.heard}
        for key in self.run.noted_sent:
            if key not in shown:
                yield f"delivered: {key}, by the record, and no phone has shown it"

    def _is_warm(self, units: Sequence[str], at_ms: int) -> bool:
        """Whether a door and a defrost together have made fish too warm, or nearly."""
        span = range(at_ms - HOUR, at_ms + 1, self.every_ms)
        return any(
            self._fish_c(unit, ms) > self._limit_c(unit, ms) - SURE_C
            for unit in units
            for ms in span
        )

    def _coincides(self, units: Sequence[str], at_ms: int) -> bool:
        """Whether doors and defrosts come together, by day: who could tell."""
        if not is_open(at_ms - HOUR // 2, self.week.setup.zone):
            return False
        warmed = [
            trouble
            for unit in units
            for trouble in self._troubles(("door", "defrost"), unit, at_ms - HOUR, at_ms + MINUTE)
        ]
        return len(warmed) > 1

    def mornings(self) -> Iterator[str]:
        """Every morning has its summary."""
        days = (self.week.over_ms - self.week.start_ms) // (24 * HOUR)
        made = {h.row.at_ms for h in self.run.heard if h.row.about is About.SUMMARY}
        if not days - 1 <= len(made) <= days + 1:
            yield f"mornings: {len(made)} summaries in {days} days"


def _clock(at_ms: int) -> str:
    return f"{datetime.fromtimestamp(at_ms / S, tz=UTC):%d %H:%M}"
