"""Rule ``stuck``: a probe that repeats one value, where it or its neighbour used to move.

A probe at rest may well repeat itself, fish in ice for hours. So a probe is judged by
its own past: how often its readings differed from one to the next, and how many changes
are due by that. A probe without a past is judged by its neighbour in the unit. Pure.

The thresholds are common practice without a published source.
"""

from typing import Final, NamedTuple

from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import MS_PER_H, Measures, Rule

SHORTEST_MS: Final = MS_PER_H
"""Shorter repetitions happen to sound probes of coarse resolution."""
CHANGES_MISSED: Final = 40.0
"""So many changes must be missing, by what the probe did before."""
MEMORY_READINGS: Final = 240
FEWEST_READINGS: Final = 120
"""What a probe did before is known after so many readings."""

BESIDE_C: Final = 3.0
BESIDE_MS: Final = 4 * MS_PER_H
BESIDE_MEMORY_MS: Final = MS_PER_H / 2
"""The air beside a product probe has moved by so much, swings smoothed out, over a time so
long: fish follows. Air may well stand still beside fish that cools."""

PLATEAU_C: Final = (-3.0, 0.5)
"""Melting ice and freezing fish keep a product probe in here at one temperature."""
PLATEAU_MS: Final = 8 * MS_PER_H


class StuckState(NamedTuple):
    """What the fold remembers of a probe."""

    probe: str
    is_product: bool
    value: float | None = None
    since_ms: int = 0
    """Since when it has repeated the value."""
    last_ms: int = 0
    repeats: int = 0
    readings: float = 0.0
    """How much past it has, at most the memory."""
    changes: float = 0.0
    """How many changes lie in it."""
    beside_c: float | None = None
    """Its neighbour, swings smoothed out; and the lowest and highest since it repeats."""
    beside_low_c: float = 0.0
    beside_high_c: float = 0.0


class StuckRule:
    """Finds a temperature that no longer moves."""

    rule = Rule.STUCK

    def applies(self, unit: Unit, probe: Probe) -> bool:  # noqa: ARG002 (the rules' common shape)
        """Watch temperatures that come at intervals."""
        return probe.measures.is_temperature and probe.stale_s is not None

    def start(self, unit: Unit, probe: Probe, at_ms: int) -> StuckState:  # noqa: ARG002
        """Know nothing of the probe yet."""
        return StuckState(probe.id, probe.measures is Measures.PRODUCT)

    def step(self, state: StuckState, sample: Sample) -> StuckState:
        """Take note of a reading, and of its neighbour's."""
        beside_c = _smoothed(state, sample)
        if sample.value == state.value:
            low_c, high_c = state.beside_low_c, state.beside_high_c
            if beside_c is not None:
                low_c = beside_c if state.beside_c is None else min(low_c, beside_c)
                high_c = beside_c if state.beside_c is None else max(high_c, beside_c)
            return state._replace(
                last_ms=sample.at_ms,
                repeats=state.repeats + 1,
                beside_c=beside_c,
                beside_low_c=low_c,
                beside_high_c=high_c,
            )
        # Only now does the repetition become part of the past: the end of one that was
        # stuck is no reason to expect less of it.
        changed = state.value is not None  # the first reading of all differs from nothing
        repeats = 0 if _missed(state) else state.repeats
        readings = state.readings + repeats + 1
        keep = min(1.0, MEMORY_READINGS / readings)
        beside = 0.0 if beside_c is None else beside_c
        # Spelled out: this runs for nearly every reading, and _replace() is slow.
        return StuckState(
            state.probe,
            state.is_product,
            sample.value,
            sample.at_ms,
            sample.at_ms,
            0,
            readings * keep,
            (state.changes + changed) * keep,
            beside_c,
            beside,
            beside,
        )

    def finding(self, state: StuckState, now_ms: int) -> Finding | None:  # noqa: ARG002
        """Return that it is stuck, by its readings so far."""
        lasting_ms = state.last_ms - state.since_ms
        least_ms = SHORTEST_MS
        if state.value is None:
            return None
        if state.is_product and PLATEAU_C[0] <= state.value <= PLATEAU_C[1]:
            least_ms = PLATEAU_MS
        if lasting_ms < least_ms:
            return None
        if _missed(state):
            why = "before, it moved all the time"
        elif (
            state.is_product
            and lasting_ms >= max(BESIDE_MS, least_ms)
            and state.beside_c is not None
            and state.beside_high_c - state.beside_low_c >= BESIDE_C
        ):
            why = "the probe beside it moved"
        else:
            return None
        return Finding(
            since_ms=state.since_ms,
            detail=f"{state.probe} repeats one value; {why}",
        )

    def due_ms(self, state: StuckState) -> None:  # noqa: ARG002
        """Only a reading can repeat another."""
        return


def _missed(state: StuckState) -> bool:
    """Whether far more readings were alike than its past would have."""
    if state.readings < FEWEST_READINGS:
        return False
    return state.repeats * state.changes / state.readings >= CHANGES_MISSED


def _smoothed(state: StuckState, sample: Sample) -> float | None:
    if sample.beside_c is None or state.beside_c is None:
        return sample.beside_c if state.beside_c is None else state.beside_c
    share = min(1.0, (sample.at_ms - state.last_ms) / BESIDE_MEMORY_MS)
    return state.beside_c + share * (sample.beside_c - state.beside_c)
