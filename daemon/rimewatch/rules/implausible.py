"""Rule ``implausible``: a probe that sends what cannot be.

Two signs: values that were not believed, again and again; and a jump that no air and no
fish makes. One bad value is every network's business and no alarm. Pure.
"""

from dataclasses import dataclass, replace
from typing import Final

from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import Measures, Rule

DOUBTS: Final = 5
DOUBTS_WITHIN_MS: Final = 30 * 60_000
"""So many values not believed within this time are a fault of the probe, not of a moment.
Common practice, no source."""

JUMP_WITHIN_MS: Final = 10 * 60_000
JUMP_AIR_C: Final = 30.0
"""Air in a cold unit takes its temperature from shelves, goods and coil. From a case to a
hot room it is less than this; only a probe that is carried about sees more within ten
minutes. Common practice, no source."""
JUMP_PRODUCT_C: Final = 20.0
"""A fillet 2 cm thick needs more than ten minutes for half the way to a room 40 °C warmer
(its time constant in air is an hour or so): only a probe that was pulled out is faster."""

QUIET_MS: Final = 15 * 60_000
"""Believed again after so long without a new sign."""


@dataclass(frozen=True, slots=True)
class ImplausibleState:
    """What a probe has done of late that cannot be."""

    probe: str
    jump_c: float
    last_ms: int | None = None
    last_value: float = 0.0
    doubts_ms: tuple[int, ...] = ()
    """Times of the latest values that were not believed, at most ``DOUBTS``."""
    doubted_since_ms: int | None = None
    jumped_ms: int | None = None
    jumped_by_c: float = 0.0


class ImplausibleRule:
    """Finds a probe that cannot be believed."""

    rule = Rule.IMPLAUSIBLE

    def applies(self, unit: Unit, probe: Probe) -> bool:  # noqa: ARG002 (the rules' common shape)
        """Watch temperatures."""
        return probe.measures.is_temperature

    def start(self, unit: Unit, probe: Probe, at_ms: int) -> ImplausibleState:  # noqa: ARG002
        """Believe it until it gives a reason not to."""
        is_product = probe.measures is Measures.PRODUCT
        return ImplausibleState(probe.id, JUMP_PRODUCT_C if is_product else JUMP_AIR_C)

    def step(self, state: ImplausibleState, sample: Sample) -> ImplausibleState:
        """Take note of a reading."""
        jumped_ms, jumped_by_c = state.jumped_ms, state.jumped_by_c
        if state.last_ms is not None and sample.at_ms - state.last_ms <= JUMP_WITHIN_MS:
            step_c = sample.value - state.last_value
            if abs(step_c) > state.jump_c:
                jumped_ms, jumped_by_c = sample.at_ms, step_c
        return replace(
            state,
            last_ms=sample.at_ms,
            last_value=sample.value,
            jumped_ms=jumped_ms,
            jumped_by_c=jumped_by_c,
        )

    def doubt(self, state: ImplausibleState, at_ms: int) -> ImplausibleState:
        """Take note that a value was not believed."""
        recent = [ms for ms in state.doubts_ms if at_ms - ms <= DOUBTS_WITHIN_MS]
        doubts_ms = (*recent[-(DOUBTS - 1) :], at_ms)
        since_ms = state.doubted_since_ms if _doubted(state, at_ms) else doubts_ms[0]
        return replace(state, doubts_ms=doubts_ms, doubted_since_ms=since_ms)

    def finding(self, state: ImplausibleState, now_ms: int) -> Finding | None:
        """Return why it cannot be believed."""
        if _doubted(state, now_ms):
            assert state.doubted_since_ms is not None, "set with the first doubt"
            return Finding(
                since_ms=state.doubted_since_ms,
                detail=f"{state.probe} sends values that are not believed, again and again",
            )
        jumped_ms = state.jumped_ms
        if jumped_ms is not None and now_ms - jumped_ms < QUIET_MS:
            return Finding(
                since_ms=jumped_ms,
                detail=f"{state.probe} jumped by {abs(state.jumped_by_c):.0f} K from one reading "
                "to the next: moved by somebody, or broken",
            )
        return None

    def due_ms(self, state: ImplausibleState) -> int | None:
        """Return when it will be believed again."""
        signs = state.doubts_ms[-1:] + (() if state.jumped_ms is None else (state.jumped_ms,))
        return max(signs) + QUIET_MS if signs else None


def _doubted(state: ImplausibleState, now_ms: int) -> bool:
    return len(state.doubts_ms) == DOUBTS and now_ms - state.doubts_ms[-1] < QUIET_MS
