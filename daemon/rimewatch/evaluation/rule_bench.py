"""Runs the rules over single probes: their states, what each finds, when to look again. Pure."""

import heapq
from typing import Any

from rimewatch.rules.probe_rule import Finding, ProbeRule, Sample
from rimewatch.rules.probe_rules import IMPLAUSIBLE, PROBE_RULES, STALE
from rimewatch.shop import Shop
from rimewatch.vocabulary import ProbeId, Rule, UnitId, Unread

Place = tuple[UnitId, Rule]


class RuleBench:
    """Holds a state for each probe and rule, in order of the configuration.

    Args:
        shop: The shop.
        at_ms: When watching begins.
    """

    def __init__(self, shop: Shop, at_ms: int) -> None:
        self._slots: list[tuple[ProbeRule, ProbeId, UnitId]] = []
        self._states: list[Any] = []
        self._of_probe: dict[ProbeId, list[int]] = {probe.id: [] for probe in shop.probes}
        self._found: dict[Place, dict[int, Finding]] = {}
        self._found_at: list[dict[int, Finding]] = []
        """For each slot its place's findings, to look nothing up for every reading."""
        self._due: list[tuple[int, int]] = []
        self._scheduled: dict[int, int] = {}
        for probe in shop.probes:
            unit = shop.unit[probe.unit]
            for rule in PROBE_RULES:
                if not rule.applies(unit, probe):
                    continue
                slot = len(self._slots)
                self._slots.append((rule, probe.id, unit.id))
                self._found_at.append(self._found.setdefault((unit.id, rule.rule), {}))
                self._states.append(rule.start(unit, probe, at_ms))
                self._of_probe[probe.id].append(slot)
                self._schedule(slot)

    def take(self, probe: ProbeId, sample: Sample, now_ms: int) -> list[Place]:
        """Step a probe's rules; return where findings changed."""
        changed: list[Place] = []
        states = self._states
        for slot in self._of_probe[probe]:
            rule = self._slots[slot][0]
            before = states[slot]
            state = rule.step(before, sample)
            if state is not before:
                states[slot] = state
                self._schedule(slot)
            # Nearly always nothing is wrong, and nothing was.
            finding = rule.finding(state, now_ms)
            if (finding is not None or self._found_at[slot]) and self._note(slot, finding):
                changed.append(self._place(slot))
        return changed

    def leave_unread(self, probe: ProbeId, why: Unread, at_ms: int) -> list[Place]:
        """Tell a probe's rules of a message that gave no reading of it.

        Rule ``stale`` hears of every one, ``implausible`` of values that were not believed: a
        message without a value has no doubtful one.
        """
        changed: list[Place] = []
        for slot in self._of_probe.get(probe, ()):
            rule = self._slots[slot][0]
            if rule is STALE:
                self._states[slot] = STALE.leave_unread(self._states[slot], why, at_ms)
            elif rule is IMPLAUSIBLE and why is Unread.DISBELIEVED:
                self._states[slot] = IMPLAUSIBLE.doubt(self._states[slot], at_ms)
            else:
                continue
            self._schedule(slot)
            if self._look(slot, at_ms):
                changed.append(self._place(slot))
        return changed

    def lose(self, probe: ProbeId, at_ms: int) -> list[Place]:
        """Tell a probe's rule ``stale`` that the probe is gone."""
        changed: list[Place] = []
        for slot in self._of_probe.get(probe, ()):
            if self._slots[slot][0] is STALE:
                self._states[slot] = STALE.lose(self._states[slot], at_ms)
                self._schedule(slot)
                if self._look(slot, at_ms):
                    changed.append(self._place(slot))
        return changed

    def has(self, rule: Rule) -> bool:
        """Whether a rule is one of those run here."""
        return any(slot[0].rule is rule for slot in self._slots)

    def is_watched(self, unit: UnitId, rule: Rule) -> bool:
        """Whether any probe can have a rule of those run here find something in a unit."""
        return any((slot[2], slot[0].rule) == (unit, rule) for slot in self._slots)

    def places_of(self, probe: ProbeId) -> set[Place]:
        """Return the places that a probe's samples can change."""
        return {self._place(slot) for slot in self._of_probe[probe]}

    def next_due_ms(self) -> int | None:
        """Return when something may change by itself next."""
        return self._due[0][0] if self._due else None

    def look_at_due(self, at_ms: int) -> list[Place]:
        """Look again at what is due at an instant; return where findings changed."""
        changed: list[Place] = []
        while self._due and self._due[0][0] <= at_ms:
            due_ms, slot = heapq.heappop(self._due)
            if self._scheduled.get(slot) != due_ms:
                continue
            del self._scheduled[slot]
            if self._look(slot, at_ms):
                changed.append(self._place(slot))
            self._schedule(slot, after_ms=at_ms)
        return changed

    def findings(self, place: Place) -> list[Finding]:
        """Return what is wrong in a unit by a rule, a finding a probe, in their order."""
        return [finding for _, finding in sorted(self._found.get(place, {}).items())]

    def found_on(self, place: Place) -> list[ProbeId]:
        """Return the probes on which a rule finds something wrong in a unit, in their order."""
        return [self._slots[slot][1] for slot in sorted(self._found.get(place, {}))]

    def _place(self, slot: int) -> Place:
        rule, _, unit = self._slots[slot]
        return unit, rule.rule

    def _look(self, slot: int, now_ms: int) -> bool:
        rule = self._slots[slot][0]
        return self._note(slot, rule.finding(self._states[slot], now_ms))

    def _note(self, slot: int, finding: Finding | None) -> bool:
        """Keep what a rule finds now; return whether that changed anything."""
        found = self._found_at[slot]
        before = found.get(slot)
        if finding is None and before is None:
            return False
        if finding is not None and before is not None and finding.since_ms > before.since_ms:
            # The same trouble goes on: a backlog does not make it begin later.
            # Written out: a backlog asks it of every probe at every reading.
            finding = Finding(
                since_ms=before.since_ms,
                detail=finding.detail,
                priority=finding.priority,
                unread=finding.unread,
            )
        if finding == before:
            return False
        if finding is None:
            del found[slot]
        else:
            found[slot] = finding
        return True

    def _schedule(self, slot: int, after_ms: int | None = None) -> None:
        """Note when to look again, unless a look is noted for no later than that.

        A look noted too early costs one look; so a probe that speaks every second does
        not fill the queue.
        """
        rule = self._slots[slot][0]
        due_ms = rule.due_ms(self._states[slot])
        if due_ms is None or (after_ms is not None and due_ms <= after_ms):
            return
        noted_ms = self._scheduled.get(slot)
        if noted_ms is None or due_ms < noted_ms:
            self._scheduled[slot] = due_ms
            heapq.heappush(self._due, (due_ms, slot))
