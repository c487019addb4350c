"""Rule ``implausible``: a probe that sends what cannot be.

Two signs: values that were not believed, again and again; and a jump that no air and no
fish makes. One bad value is every network's business and no alarm. Pure.
"""

from typing import Final, NamedTuple

from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import MS_PER_MINUTE, Measures, Rule

DOUBTS: Final = 5
DOUBTS_APART_MS: Final = 15 * MS_PER_MINUTE
"""So many values not believed, none of them longer than this after the one before, are a
fault of the probe, not of a moment. Common practice, no source."""

JUMP_WITHIN_MS: Final = 10 * MS_PER_MINUTE
JUMP_AIR_C: Final = 30.0
"""Air in a cold unit takes its temperature from shelves, goods and coil. From a case to a
hot room it is less than this; only a probe that is carried about sees more within ten
minutes. Common practice, no source."""
JUMP_PRODUCT_C: Final = 20.0
"""A fillet 2 cm thick needs more than ten minutes for half the way to a room 40 °C warmer
(its time constant in air is an hour or so): only a probe that was pulled out is faster."""

QUIET_MS: Final = 15 * MS_PER_MINUTE
"""Believed again after so long without a new sign."""


class ImplausibleState(NamedTuple):
    """What a probe has done of late that cannot be."""

    probe: str
    jump_c: float
    last_ms: int | None = None
    last_value: float = 0.0
    doubts: int = 0
    """How many values in a row of doubts were not believed."""
    doubted_since_ms: int = 0
    doubted_ms: int = 0
    found_since_ms: int | None = None
    """Since when it cannot be believed; None: it never gave a reason."""
    sign_ms: int = 0
    """When it last gave one."""
    sign: str = ""


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
        if state.last_ms is not None and sample.at_ms - state.last_ms <= JUMP_WITHIN_MS:
            jump_c = sample.value - state.last_value
            if abs(jump_c) > state.jump_c:
                state = _signed(
                    state,
                    sample.at_ms,
                    sample.at_ms,
                    f"jumped by {abs(jump_c):.0f} K from one reading to the next: "
                    "somebody moved it, or it is broken",
                )
        # Spelled out: this runs for every reading, and _replace() is slow.
        return ImplausibleState(
            state.probe,
            state.jump_c,
            sample.at_ms,
            sample.value,
            state.doubts,
            state.doubted_since_ms,
            state.doubted_ms,
            state.found_since_ms,
            state.sign_ms,
            state.sign,
        )

    def doubt(self, state: ImplausibleState, at_ms: int) -> ImplausibleState:
        """Take note that a value was not believed."""
        goes_on = state.doubts > 0 and at_ms - state.doubted_ms <= DOUBTS_APART_MS
        state = state._replace(
            doubts=min(state.doubts + 1, DOUBTS) if goes_on else 1,
            doubted_since_ms=state.doubted_since_ms if goes_on else at_ms,
            doubted_ms=at_ms,
        )
        if state.doubts < DOUBTS:
            return state
        said = "sends values that are not believed, again and again"
        return _signed(state, state.doubted_since_ms, at_ms, said)

    def finding(self, state: ImplausibleState, now_ms: int) -> Finding | None:
        """Return why it cannot be believed."""
        if state.found_since_ms is None or now_ms - state.sign_ms >= QUIET_MS:
            return None
        return Finding(since_ms=state.found_since_ms, detail=f"{state.probe} {state.sign}")

    def due_ms(self, state: ImplausibleState) -> int | None:
        """Return when it will be believed again."""
        return None if state.found_since_ms is None else state.sign_ms + QUIET_MS


def _signed(state: ImplausibleState, since_ms: int, at_ms: int, sign: str) -> ImplausibleState:
    """Return the state with a sign, the first of its trouble or a further one."""
    goes_on = state.found_since_ms is not None and at_ms - state.sign_ms < QUIET_MS
    return state._replace(
        found_since_ms=state.found_since_ms if goes_on else since_ms,
        sign_ms=at_ms,
        sign=state.sign if goes_on else sign,
    )
