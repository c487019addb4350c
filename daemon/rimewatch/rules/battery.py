"""Rule ``battery``: a probe that will soon fall silent. Pure."""

from math import isfinite
from typing import Final, NamedTuple

from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import Rule

LOW_PERCENT: Final = 15.0
"""Common practice, no source: some weeks are left to most probes."""

LOW_VOLTS: Final = 2.4
"""A lithium cell of 3 V is near its end there. Common practice, no source."""

MOST_VOLTS: Final = 6.0
LEAST_MILLIVOLTS: Final = 1000.0
"""No percentage is above these and no small battery below: a figure tells its kind. One up to 6
with a fraction is volts, unless more was seen before: percentages are whole numbers."""

RECOVERED: Final = 1.15
"""A new battery reads at least this much above the line; a cold one that warms a little
does not."""


class BatteryState(NamedTuple):
    """Since when a battery has been low; None: it is not, as far as is known."""

    probe: str
    low: float
    since_ms: int | None = None
    is_own_line: bool = True
    """Whether the configuration names the line; else the kind of the figure does."""
    highest: float = 0.0


class BatteryRule:
    """Finds a battery at or below its line."""

    rule = Rule.BATTERY

    def applies(self, unit: Unit, probe: Probe) -> bool:  # noqa: ARG002 (the rules' common shape)
        """Watch probes whose messages tell of a battery."""
        return "battery" in probe.fields or probe.battery_low is not None

    def start(self, unit: Unit, probe: Probe, at_ms: int) -> BatteryState:  # noqa: ARG002
        """Know nothing of the battery yet."""
        if probe.battery_low is None:
            return BatteryState(probe.id, LOW_PERCENT, is_own_line=False)
        return BatteryState(probe.id, probe.battery_low)

    def step(self, state: BatteryState, sample: Sample) -> BatteryState:
        """Take note of a battery's level, where the sample has one."""
        if sample.battery is None:
            return state
        if not state.is_own_line and isfinite(sample.battery):
            state = _by_kind(state, sample.battery)
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


def _by_kind(state: BatteryState, level: float) -> BatteryState:
    """Return the state with the line that fits the kind of figure: percent, volts, millivolts."""
    highest = max(state.highest, level)
    low = state.low
    if level >= LEAST_MILLIVOLTS:
        low = LOW_VOLTS * 1000.0
    elif MOST_VOLTS < highest < LEAST_MILLIVOLTS:
        low = LOW_PERCENT
    elif level != round(level):
        low = LOW_VOLTS
    if low == state.low:
        return state if highest == state.highest else state._replace(highest=highest)
    return state._replace(low=low, highest=highest, since_ms=None)
