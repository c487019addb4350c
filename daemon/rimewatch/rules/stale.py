"""Rule ``stale``: a probe that has fallen silent. Missing data is never cold. Pure."""

from dataclasses import dataclass, replace
from math import ceil

from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import MS_PER_S, Rule


@dataclass(frozen=True, slots=True)
class StaleState:
    """When a probe last spoke, by its readings' own time."""

    probe: str
    stale_ms: int
    last_ms: int


class StaleRule:
    """Raised at the last reading plus the stale time."""

    rule = Rule.STALE

    def applies(self, unit: Unit, probe: Probe) -> bool:  # noqa: ARG002 (the rules' common shape)
        """Watch every probe that is expected to speak by itself."""
        return probe.stale_s is not None

    def start(self, unit: Unit, probe: Probe, at_ms: int) -> StaleState:  # noqa: ARG002
        """Count the silence from when watching began: a probe never heard is stale as well."""
        assert probe.stale_s is not None, "applies() was not asked"
        return StaleState(probe.id, ceil(probe.stale_s * MS_PER_S), at_ms)

    def step(self, state: StaleState, sample: Sample) -> StaleState:
        """Take note of a reading."""
        if sample.at_ms <= state.last_ms:
            return state
        return replace(state, last_ms=sample.at_ms)

    def finding(self, state: StaleState, now_ms: int) -> Finding | None:
        """Return that the probe is silent, once it has been for the stale time."""
        if now_ms - state.last_ms < state.stale_ms:
            return None
        return Finding(since_ms=state.last_ms, detail=f"{state.probe} is silent")

    def due_ms(self, state: StaleState) -> int:
        """Return when the silence will have lasted for the stale time."""
        return state.last_ms + state.stale_ms
