"""Rules ``door`` and ``water``: a contact that stands open, or is wet. Pure."""

from typing import NamedTuple

from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import MS_PER_S, Measures, Rule


class ContactState(NamedTuple):
    """Since when a contact has been open or wet; None: it is shut or dry."""

    probe: str
    delay_ms: int
    since_ms: int | None = None


class ContactRule:
    """Finds a contact that has been open for longer than it may.

    Args:
        rule: ``door`` or ``water``.
        measures: Which contacts it watches.
        phrase: What to say of one, as in "the door stands open".
    """

    def __init__(self, rule: Rule, measures: Measures, phrase: str) -> None:
        self.rule = rule
        self._measures = measures
        self._phrase = phrase

    def applies(self, unit: Unit, probe: Probe) -> bool:  # noqa: ARG002 (the rules' common shape)
        """Watch contacts of its own kind."""
        return probe.measures is self._measures

    def start(self, unit: Unit, probe: Probe, at_ms: int) -> ContactState:  # noqa: ARG002
        """Take a contact for shut until it says otherwise.

        A door may stand open for a while; water may not stand at all.
        """
        delay_s = unit.door_open_s if self.rule is Rule.DOOR else 0.0
        return ContactState(probe.id, round(delay_s * MS_PER_S))

    def step(self, state: ContactState, sample: Sample) -> ContactState:
        """Take note of what the contact says."""
        is_open = sample.value >= 0.5
        if is_open == (state.since_ms is not None):
            return state
        return state._replace(since_ms=sample.at_ms if is_open else None)

    def finding(self, state: ContactState, now_ms: int) -> Finding | None:
        """Return that it has been open for too long."""
        if state.since_ms is None or now_ms - state.since_ms < state.delay_ms:
            return None
        return Finding(since_ms=state.since_ms, detail=f"{state.probe}: {self._phrase}")

    def due_ms(self, state: ContactState) -> int | None:
        """Return when it will have been open for too long."""
        return None if state.since_ms is None else state.since_ms + state.delay_ms
