"""Why a temperature went beyond its limit, decided from evidence and said in one sentence.

The air tells the story: when it began to rise, how steeply, and whether it came
back. What is known of doors, scheduled defrosts and other units decides between
stories that look alike. Where nothing fits, the answer is "unknown", never a guess.

The thresholds are common practice without a published source; each says what it
separates. Pure: no clock, no I/O.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.vocabulary import MS_PER_H, MS_PER_MINUTE, Cause

BASELINE_BEFORE_MS: Final = 2 * MS_PER_H
"""How far back the usual temperature is looked for."""

RISE_C: Final = 1.0
"""The air has left its usual temperature when it is this far above it."""

STEEP_C: Final = 2.0
STEEP_WITHIN_MS: Final = 6 * MS_PER_MINUTE
"""A door or warm goods lift the air this much within this time; a failing compressor,
working against the case's whole heat capacity, does not."""

PROMPT_RECOVERY_MS: Final = 40 * MS_PER_MINUTE
"""After a door or a defrost a sound compressor has the air falling again within this time."""

NEAR_MS: Final = 10 * MS_PER_MINUTE
"""A door or a defrost this close to the start of the rise explains it."""

LONG_OPENING_MS: Final = 20_000
"""A door glimpsed open for less than this warms nothing."""

NEAR_PEAK_C: Final = 0.1

SHORTEST_DEFROST_MS: Final = 12 * MS_PER_MINUTE
LONGEST_DEFROST_MS: Final = 45 * MS_PER_MINUTE
SHORTEST_FAILURE_MS: Final = 60 * MS_PER_MINUTE
"""Defrosts last from twelve to forty-five minutes; from an hour on it is the cooling.
Between them either may be."""

STEADY_HALF_WAY: Final = 0.8
"""A heater warms steadily; the room's air fills a case in the first minutes."""

EARLY_PEAK_MS: Final = 25 * MS_PER_MINUTE
SLOW_RETURN_MS: Final = 15 * MS_PER_MINUTE
"""Warm goods warm the air most when they come, and then for as long as they cool."""

DOOR_WARMS_MS: Final = 12 * MS_PER_MINUTE
DOOR_WARMS_TIMES: Final = 4
"""A sound unit has turned within four times the opening, and a glimpse explains twelve
minutes of warmth at most."""

SHUT_SHARE: Final = 0.15
"""Open for less than this part of the rise, a door was as good as shut."""

FALLEN_SHARE: Final = 0.35
"""The air has turned for good once this share of its rise is lost again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is known around an excursion. Instants are milliseconds UTC."""

    start_ms: float
    end_ms: float | None
    air_times_ms: NDArray[np.int64]
    """From two hours before the start to some time after the end. # (n,)"""
    air_c: NDArray[np.float64]
    product_times_ms: NDArray[np.int64]
    """The same of a product probe; empty where there is none. # (m,)"""
    product_c: NDArray[np.float64]
    door_open: Sequence[tuple[float, float]] = ()
    """Times at which a door contact stood open."""
    has_door_contact: bool = False
    defrost: Sequence[tuple[float, float]] = ()
    """Scheduled defrosts."""
    power_lost_with: Sequence[str] = ()
    """Names of other units that warmed or fell silent at the same moment."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """A cause and the sentence that explains it."""

    cause: Cause
    explanation: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise:
    """The shape of a rise of the air."""

    onset_ms: float
    usual_c: float
    peak_c: float
    peak_ms: float
    """When it was first within a tenth of a degree of its peak."""
    half_way: float
    """The share of the rise that was done at half the time to the peak: about a half for a
    heater's steady warming, more where the room's air came in."""
    steep: bool
    turned_ms: float | None
    """When the air had lost a fair share of its rise again; None: it has not."""


def rise_of(evidence: Evidence) -> Rise | None:
    """Return the shape of the rise that led to an excursion, if the air shows one."""
    times, air = evidence.air_times_ms, evidence.air_c
    before = times <= evidence.start_ms
    if not before.any():
        return None
    # The lower quartile: the usual temperature, also where a door was busy before.
    usual_c = float(np.quantile(air[before], 0.25))
    warm = air > usual_c + RISE_C
    start = int(np.flatnonzero(before)[-1])
    calm = np.flatnonzero(~warm[: start + 1])
    onset = int(calm[-1]) if len(calm) else 0
    later = slice(onset, len(times))
    peak_at = onset + int(np.argmax(air[later]))
    peak_c = float(air[peak_at])
    if peak_c <= usual_c + RISE_C:
        return None
    near_peak = onset + int(np.argmax(air[later] >= peak_c - NEAR_PEAK_C))
    peak_ms = float(times[near_peak])
    half_at = int(np.searchsorted(times, (times[onset] + peak_ms) / 2.0))
    half_way = float(air[half_at] - air[onset]) / float(peak_c - air[onset])
    soon = (times > times[onset]) & (times <= times[onset] + STEEP_WITHIN_MS)
    steep = bool(soon.any()) and float(air[soon].max()) - float(air[onset]) >= STEEP_C
    after_peak = np.arange(peak_at, len(times))
    fallen = after_peak[air[after_peak] <= peak_c - FALLEN_SHARE * (peak_c - usual_c)]
    return Rise(
        onset_ms=float(times[onset]),
        usual_c=usual_c,
        peak_c=peak_c,
        peak_ms=peak_ms,
        half_way=half_way,
        steep=steep,
        turned_ms=float(times[fallen[0]]) if len(fallen) else None,
    )


def explain(evidence: Evidence) -> Verdict:
    """Return the likely cause of an excursion.

    Args:
        evidence: What is known around it, up to whenever it is asked.
    """
    if evidence.power_lost_with:
        names = ", ".join(evidence.power_lost_with)
        return Verdict(
            cause=Cause.POWER_LOSS,
            explanation=f"It warmed at the same moment as {names}: the power they share was lost.",
        )
    rise = rise_of(evidence)
    if rise is None:
        return Verdict(
            cause=Cause.UNKNOWN, explanation="The air shows no clear rise that would explain it."
        )
    known_ms = float(evidence.air_times_ms[-1])
    lasting_ms = (rise.turned_ms or known_ms) - rise.onset_ms
    recovered = rise.turned_ms is not None
    prompt = lasting_ms <= PROMPT_RECOVERY_MS

    opened = _overlapping(evidence.door_open, rise.onset_ms)
    if opened is not None and _door_explains(evidence, rise, opened, lasting_ms, known_ms):
        open_ms = min(opened[1], known_ms) - opened[0]
        return Verdict(
            cause=Cause.DOOR,
            explanation=f"The door stood open for {_length(open_ms)} as the air began to rise.",
        )
    window = _overlapping(evidence.defrost, rise.onset_ms)
    if window is not None and (prompt or (rise.turned_ms or known_ms) <= window[1] + NEAR_MS * 2):
        return Verdict(
            cause=Cause.DEFROST,
            explanation="The rise began in the scheduled defrost"
            + (" and fell back after it." if recovered else "."),
        )
    if _loaded(evidence, rise):
        return Verdict(
            cause=Cause.LOADING,
            explanation="The product rose at one stroke and cools slowly: warm goods were put in.",
        )
    return _by_shape_of_return(evidence, rise) if recovered else _by_lasting(rise, lasting_ms)


def _by_shape_of_return(evidence: Evidence, rise: Rise) -> Verdict:
    """Judge a rise that no contact and no schedule explains, and that turned."""
    assert rise.turned_ms is not None, "asked of rises that turned"
    rising_ms, falling_ms = rise.peak_ms - rise.onset_ms, rise.turned_ms - rise.peak_ms
    rose, fell = _length(rising_ms), _length(max(falling_ms, MS_PER_MINUTE))
    if rise.steep and rising_ms <= EARLY_PEAK_MS and falling_ms > SLOW_RETURN_MS:
        return Verdict(
            cause=Cause.LOADING,
            explanation="The air rose within minutes and came back slowly, as after warm loading.",
        )
    if rising_ms > SHORTEST_FAILURE_MS:
        return Verdict(
            cause=Cause.COOLING_FAILURE,
            explanation=f"The air rose for {rose} before it turned: for so long nothing cooled it.",
        )
    if rising_ms > LONGEST_DEFROST_MS:
        return Verdict(
            cause=Cause.UNKNOWN,
            explanation=f"The air rose for {rose} and came back by itself: a long defrost, or a "
            "failure that passed.",
        )
    open_ms = _open_ms(evidence, rise)
    is_shut = evidence.has_door_contact and open_ms < SHUT_SHARE * rising_ms
    never_opened = evidence.has_door_contact and not open_ms
    like_defrost = rising_ms >= SHORTEST_DEFROST_MS and falling_ms <= SLOW_RETURN_MS
    if like_defrost and (is_shut or rise.half_way <= STEADY_HALF_WAY):
        door = "with the door shut, " if is_shut else ""
        return Verdict(
            cause=Cause.DEFROST,
            explanation=f"The air rose steadily for {rose}, {door}and was falling again within "
            f"{fell}, as in a defrost that no schedule names.",
        )
    is_prompt = rise.turned_ms - rise.onset_ms <= PROMPT_RECOVERY_MS
    if rise.steep and is_prompt and not never_opened:
        return Verdict(
            cause=Cause.DOOR,
            explanation="The air rose within minutes and came back promptly, as after a door.",
        )
    return Verdict(
        cause=Cause.UNKNOWN, explanation=f"The air rose for {rose}; its shape fits no known cause."
    )


def _by_lasting(rise: Rise, lasting_ms: float) -> Verdict:
    """Judge a rise that nothing explains and that has not turned."""
    if lasting_ms <= PROMPT_RECOVERY_MS:
        return Verdict(
            cause=Cause.UNKNOWN,
            explanation=f"The air has been warm for {_length(lasting_ms)}: too short to tell why.",
        )
    lasting = _length(lasting_ms)
    still_rises = rise.onset_ms + lasting_ms - rise.peak_ms <= NEAR_MS
    return Verdict(
        cause=Cause.COOLING_FAILURE,
        explanation=f"The air has been rising for {lasting} and does not come back."
        if still_rises
        else f"The air has been warm for {lasting} and does not come back.",
    )


def _door_explains(
    evidence: Evidence,
    rise: Rise,
    opened: tuple[float, float],
    lasting_ms: float,
    known_ms: float,
) -> bool:
    """Whether a door was open for long enough to be the reason."""
    if _still_open(evidence, opened, known_ms) and opened[1] - opened[0] >= PROMPT_RECOVERY_MS:
        return True
    warms_ms = max(DOOR_WARMS_MS, DOOR_WARMS_TIMES * _open_ms(evidence, rise))
    return lasting_ms <= min(warms_ms, max(PROMPT_RECOVERY_MS, 2 * (opened[1] - opened[0])))


def _open_ms(evidence: Evidence, rise: Rise) -> float:
    """Return how long the door was open while the air rose."""
    from_ms = rise.onset_ms - NEAR_MS / 2
    return sum(
        max(0.0, min(end, rise.peak_ms) - max(start, from_ms)) for start, end in evidence.door_open
    )


def _length(length_ms: float) -> str:
    return _minutes(length_ms / MS_PER_MINUTE)


def _minutes(minutes: float) -> str:
    if minutes < 1.5:
        return f"{minutes * 60:.0f} s"
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.1f} h"


def _overlapping(
    spans: Sequence[tuple[float, float]], onset_ms: float
) -> tuple[float, float] | None:
    """Return the last span that was under way, or just over, when the rise began."""
    near = [
        (start, end)
        for start, end in spans
        if start <= onset_ms + NEAR_MS / 2
        and end >= onset_ms - NEAR_MS
        and end - start >= LONG_OPENING_MS
    ]
    return near[-1] if near else None


def _still_open(evidence: Evidence, opened: tuple[float, float], known_ms: float) -> bool:
    """Whether the door explains a rise that goes on: it is open, or was until lately."""
    turn_or_now = known_ms if evidence.end_ms is None else evidence.end_ms
    return opened[1] + PROMPT_RECOVERY_MS >= turn_or_now


def _loaded(evidence: Evidence, rise: Rise) -> bool:
    """Whether the product itself jumped: only warm goods, or a hand on the probe, do that."""
    times, product = evidence.product_times_ms, evidence.product_c
    near = (times >= rise.onset_ms - NEAR_MS) & (times <= rise.onset_ms + NEAR_MS)
    if near.sum() < 2:
        return False
    return float(np.diff(product[near]).max()) >= STEEP_C
