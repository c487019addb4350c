"""Rule ``battery``: a probe that will soon fall silent. Pure."""

from typing import Final, NamedTuple

from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import Rule

LOW_PERCENT: Final = 15.0
"""Common practice, no source: some weeks are left to most probes. A probe that sends
volts is given its own line (``battery_low``)."""

RECOVERED: Final = 1.15
"""A new battery reads at least this much above the line; a cold one that warms a little
does not."""


class BatteryState(NamedTuple):
    """Since when a battery has been low; None: it is not, as far as is known."""

    probe: str
    low: float
    since_ms: int | None = None


class BatteryRule:
    """Finds a battery at or below its line."""

    rule = Rule.BATTERY

    def applies(self, unit: Unit, probe: Probe) -> bool:  # noqa: ARG002 (the rules' common shape)
        """Watch probes whose messages tell of a battery."""
        return "battery" in probe.fields or probe.battery_low is not None

    def start(self, unit: Unit, probe: Probe, at_ms: int) -> BatteryState:  # noqa: ARG002
        """Know nothing of the battery yet."""
        low = LOW_PERCENT if probe.battery_low is None else probe.battery_low
        return BatteryState(probe.id, low)

    def step(self, state: BatteryState, sample: Sample) -> BatteryState:
        """Take note of a battery's level, where the sample has one."""
        if sample.battery is None:
            return state
        if state.since_ms is None and sample.battery <= state.low:
            return state._replace(since_ms=sample.at_ms)
        if state.since_ms is not None and sample.battery > state.low * RECOVERED:
            return state._replace(since_ms=None)
        return state

    def finding(self, state: BatteryState, now_ms: int) -> Finding | None:  # noqa: ARG002
        """Return that the battery is low."""
        if state.since_ms is None:
            return None
        return Finding(
            since_ms=state.since_ms, detail=f"{state.probe}: battery at or below {state.low:g}"
        )

    def due_ms(self, state: BatteryState) -> None:  # noqa: ARG002
        """A battery says nothing by itself."""
        return
