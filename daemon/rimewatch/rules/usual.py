"""A unit's usual air, and when it left it: what projections and power losses start from.

The air of a sound unit swings with its compressor, within a band. The fold learns the
band from the last three hours and notes when the air leaves it upwards. While it is
out, the band is not learned further: trouble does not become usual because it lasts,
until it has lasted for a quarter of a day, and never where somebody knows the trouble.

``step(state, at_ms, air_c) -> state``, with plain, serialisable state, and a few
additions a reading. What leaves the band alike again and again is a swing and belongs to it
(``rules.swings``). Pure: no clock, no I/O. Says nothing of why the air left its band.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import floor, inf
from typing import Final, NamedTuple

from rimewatch.rules import swings
from rimewatch.rules.swings import Crest, Swing
from rimewatch.vocabulary import MS_PER_H, MS_PER_MINUTE

BIN_MS: Final = 5 * MS_PER_MINUTE
"""The past is kept in pieces this long, on a fixed grid, so that a fold begun later comes
to the same band."""
MOST_BINS: Final = 36
"""Three hours: a dozen swings of a compressor, and a defrost is a small part of them."""
FEWEST_BINS: Final = 3
"""Less than a quarter of an hour says nothing of what is usual."""

USUAL_TOP_SHARE: Final = 0.8
"""The band's top is the peak that four in five pieces stay below: a defrost or a few doors
do not lift it."""
MARGIN_C: Final = 0.5
"""The air has left its band when it is this far above it."""
ADOPTED_AFTER_MS: Final = 6 * MS_PER_H
"""Out for so long, the air has found another band (a changed set point): it is learned anew."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """A time of the air above its usual band."""

    usual_c: float
    """The middle of the band it left, °C."""
    top_c: float
    """The top of that band, °C."""
    from_ms: int
    """When it was last at or below the middle: it did not begin before."""
    left_ms: int
    """When it was first seen above the band: it began by then."""
    peak_c: float
    peak_ms: int
    last_ms: int
    """Its latest reading."""
    last_c: float

    @property
    def recovering(self) -> bool:
        """Whether a fair share of the rise is lost again: something cools."""
        return self.peak_c - self.last_c >= max(
            TURNED_C, TURNED_SHARE * (self.peak_c - self.usual_c)
        )


TURNED_C: Final = 0.6
"""Less than this is noise and the stirring of a fan."""
TURNED_SHARE: Final = 0.25


class UsualState(NamedTuple):
    """What the fold remembers."""

    bins: tuple[tuple[float, float], ...] = ()
    """Mean and peak of past pieces, oldest first."""
    usual_c: float = 0.0
    """The middle of the band."""
    top_c: float = inf
    """Infinite until enough is known."""
    start_ms: int = 0
    """Of the present piece: its start on the grid, and its sum, peak and number of readings."""
    sum_c: float = 0.0
    peak_c: float = 0.0
    readings: int = 0
    calm_ms: int = 0
    """When the air was last at or below the middle."""
    out: Departure | None = None
    """Above the band since; None: it is within."""
    swing: Swing = Swing()
    """The crests above the band that came and went."""


def step(state: UsualState, at_ms: int, air_c: float, *, adopts: bool = True) -> UsualState:
    """Take a reading of the air, later than those before.

    Args:
        state: What is remembered.
        at_ms: When the reading was taken.
        air_c: What it says.
        adopts: Whether air that stays out for long has found another band. Not where what
            keeps it out is known: without power no warmth becomes usual.
    """
    bins, usual_c, top_c, start_ms, sum_c, peak_c, count, calm_ms, out, swing = state
    if out is not None:
        if air_c > top_c and (not adopts or at_ms - out.left_ms < ADOPTED_AFTER_MS):
            return state._replace(out=_further(out, at_ms, air_c))
        if air_c > top_c:  # lasting: another band
            return _begun((), 0.0, inf, at_ms, air_c, at_ms, Swing())
        swing = swings.with_crest(swing, Crest(out.left_ms, at_ms, out.peak_c), usual_c)
        calm_ms = at_ms if air_c <= usual_c else calm_ms
        return _begun(bins, usual_c, swing.lifted(top_c), at_ms, air_c, calm_ms, swing)
    if air_c > top_c + MARGIN_C:
        return state._replace(out=_departed(state, at_ms, air_c))
    if count and at_ms - start_ms < BIN_MS:
        return UsualState(
            bins,
            usual_c,
            top_c,
            start_ms,
            sum_c + air_c,
            max(peak_c, air_c),
            count + 1,
            at_ms if air_c <= usual_c or not calm_ms else calm_ms,
            None,
            swing,
        )
    if count:
        bins, usual_c, top_c = _learned(state)
        swing = swings.with_piece(swing, peak_c, at_ms)
        top_c = swing.lifted(top_c)
    calm = air_c <= usual_c or not calm_ms
    return _begun(bins, usual_c, top_c, at_ms, air_c, at_ms if calm else calm_ms, swing)


def fold(times_ms: Iterable[int], air_c: Iterable[float]) -> tuple[UsualState, list[Departure]]:
    """Fold readings in order of their time; return the state and the departures that ended."""
    state = UsualState()
    ended: list[Departure] = []
    for at_ms, value_c in zip(times_ms, air_c, strict=True):
        before = state.out
        state = step(state, at_ms, value_c)
        if before is not None and state.out is None:
            ended.append(replace(before, last_ms=at_ms, last_c=value_c))
    return state, ended


def _departed(state: UsualState, at_ms: int, air_c: float) -> Departure:
    return Departure(
        usual_c=state.usual_c,
        top_c=state.top_c,
        from_ms=state.calm_ms,
        left_ms=at_ms,
        peak_c=air_c,
        peak_ms=at_ms,
        last_ms=at_ms,
        last_c=air_c,
    )


def _further(out: Departure, at_ms: int, air_c: float) -> Departure:
    if air_c > out.peak_c:
        return replace(out, peak_c=air_c, peak_ms=at_ms, last_ms=at_ms, last_c=air_c)
    return replace(out, last_ms=at_ms, last_c=air_c)


def _begun(
    bins: tuple[tuple[float, float], ...],
    usual_c: float,
    top_c: float,
    at_ms: int,
    air_c: float,
    calm_ms: int,
    swing: Swing,
) -> UsualState:
    """Begin a piece with its first reading."""
    start_ms = at_ms // BIN_MS * BIN_MS
    return UsualState(bins, usual_c, top_c, start_ms, air_c, air_c, 1, calm_ms, None, swing)


def _learned(state: UsualState) -> tuple[tuple[tuple[float, float], ...], float, float]:
    """Take the piece that has ended into the band."""
    bins = (*state.bins[-(MOST_BINS - 1) :], (state.sum_c / state.readings, state.peak_c))
    if len(bins) < FEWEST_BINS:
        return bins, state.usual_c, state.top_c
    means = sorted([mean for mean, _ in bins])
    peaks = sorted([peak for _, peak in bins])
    # The median proper: a cycle in step with the pieces has two middles far apart.
    half = len(means) // 2
    usual_c = means[half] if len(means) % 2 else (means[half - 1] + means[half]) / 2.0
    return bins, usual_c, peaks[floor(USUAL_TOP_SHARE * len(peaks))]
