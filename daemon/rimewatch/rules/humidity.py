"""Rule ``humidity``: the air in a unit stays too damp. Pure.

Off unless a line is given for the probe. It judges surfaces that are to stay dry, as of fish
that is dry-aged or shown unwrapped; it says nothing of the fish's temperature.

Missing time is not damp time: half an hour counts between readings no further apart than the
probe's stale time.
"""

from typing import Final, NamedTuple

from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import MS_PER_MINUTE, MS_PER_S, Measures, Rule

DELAY_MS: Final = 30 * MS_PER_MINUTE
"""Common practice, no source: a door or a defrost makes air damp for some minutes."""

DEADBAND_PERCENT: Final = 3.0
"""Common practice, no source: about what two readings of one hygrometer differ by."""


class HumidityState(NamedTuple):
    """Since when air has been too damp; None: it is not, as far as is known."""

    probe: str
    high_percent: float
    stale_ms: int | None
    since_ms: int | None = None
    last_ms: int = 0
    """Of the newest sample that was too damp."""


class HumidityRule:
    """Finds air that has been above its line for half an hour."""

    rule = Rule.HUMIDITY

    def applies(self, unit: Unit, probe: Probe) -> bool:  # noqa: ARG002 (the rules' common shape)
        """Watch humidity probes that were given a line."""
        return probe.measures is Measures.HUMIDITY and probe.humidity_high_percent is not None

    def start(self, unit: Unit, probe: Probe, at_ms: int) -> HumidityState:  # noqa: ARG002
        """Know nothing of the air yet."""
        assert probe.humidity_high_percent is not None, "applies() said so"
        stale_ms = None if probe.stale_s is None else round(probe.stale_s * MS_PER_S)
        return HumidityState(probe.id, probe.humidity_high_percent, stale_ms)

    def step(self, state: HumidityState, sample: Sample) -> HumidityState:
        """Take note of a sample; a gap before half an hour is full begins it anew."""
        at_ms = sample.at_ms
        if state.since_ms is None:
            if sample.value <= state.high_percent:
                return state
            return state._replace(since_ms=at_ms, last_ms=at_ms)
        if sample.value <= state.high_percent - DEADBAND_PERCENT:
            return state._replace(since_ms=None, last_ms=0)
        is_gap = state.stale_ms is not None and at_ms - state.last_ms > state.stale_ms
        if is_gap and not _is_long(state):
            is_damp = sample.value > state.high_percent
            return state._replace(
                since_ms=at_ms if is_damp else None, last_ms=at_ms if is_damp else 0
            )
        return state._replace(last_ms=at_ms)

    def finding(self, state: HumidityState, now_ms: int) -> Finding | None:  # noqa: ARG002
        """Return that the air has been too damp for too long."""
        if state.since_ms is None or not _is_long(state):
            return None
        return Finding(
            since_ms=state.since_ms,
            detail=f"{state.probe}: above {state.high_percent:g} % relative humidity",
        )

    def due_ms(self, state: HumidityState) -> None:  # noqa: ARG002
        """Only a sample can say that air is still damp."""
        return


def _is_long(state: HumidityState) -> bool:
    return state.since_ms is not None and state.last_ms - state.since_ms >= DELAY_MS
