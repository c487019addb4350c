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
    again: "Again | None" = None
    """A further rise, before the air was back from the one before; None: there was none."""
    low_c: float = inf
    """The lowest since the peak of the rise that is under way, and when; infinite: nothing
    came after that peak."""
    low_ms: int = 0

    @property
    def begun_ms(self) -> int:
        """When the rise that is under way began, at the earliest."""
        return self.from_ms if self.again is None else self.again.from_ms

    @property
    def rising_since_ms(self) -> int:
        """When that rise was first seen."""
        return self.left_ms if self.again is None else self.again.from_ms

    @property
    def recovering(self) -> bool:
        """Whether a fair share of the rise is lost again: something cools."""
        peak_c, base_c = (
            (self.peak_c, self.usual_c)
            if self.again is None
            else (self.again.peak_c, self.again.from_c)
        )
        return peak_c - self.last_c >= _turned_c(peak_c - base_c)


class Again(NamedTuple):
    """A rise that began while the air was on its way back from another."""

    from_ms: int
    """When the air was lowest before it."""
    from_c: float
    peak_c: float


def _turned_c(height_c: float) -> float:
    """Return by how much air must turn, of a rise so high, for it to count."""
    return max(TURNED_C, TURNED_SHARE * height_c)


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
            return state._replace(out=further(out, at_ms, air_c))
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


def further(out: Departure, at_ms: int, air_c: float) -> Departure:
    """Take a reading of air that is still out of its band."""
    peak_c, peak_ms, low_c, low_ms, again = (
        out.peak_c, out.peak_ms, out.low_c, out.low_ms, out.again
    )  # fmt: skip
    crest_c, base_c = (peak_c, out.usual_c) if again is None else (again.peak_c, again.from_c)
    if air_c > crest_c:
        low_c, low_ms = inf, 0
        again = None if again is None else again._replace(peak_c=air_c)
    elif air_c < low_c:
        low_c, low_ms = air_c, at_ms
    elif crest_c - low_c >= _turned_c(crest_c - base_c) and air_c - low_c >= _turned_c(
        crest_c - low_c
    ):
        again = Again(low_ms, low_c, air_c)
        low_c, low_ms = inf, 0
    if air_c > peak_c:
        peak_c, peak_ms = air_c, at_ms
    return Departure(
        usual_c=out.usual_c,
        top_c=out.top_c,
        from_ms=out.from_ms,
        left_ms=out.left_ms,
        peak_c=peak_c,
        peak_ms=peak_ms,
        last_ms=at_ms,
        last_c=air_c,
        again=again,
        low_c=low_c,
        low_ms=low_ms,
    )


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
