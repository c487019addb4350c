"""The usual band over a long run of readings at once: the same departures, many times sooner.

``usual.fold`` takes a reading at a time, as a live service must. Whoever looks back over a
year has all readings at hand: here a piece of five minutes is one step, and a time out of
the band is one look. A property test holds both to the same departures, to the digit.

Pure: no clock, no I/O, no globals. Knows nothing of units or stores.
"""

from dataclasses import replace
from math import floor, inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.rules import swings, usual
from rimewatch.rules.swings import Crest, Swing
from rimewatch.rules.usual import (
    ADOPTED_AFTER_MS,
    BIN_MS,
    FEWEST_BINS,
    MARGIN_C,
    MOST_BINS,
    USUAL_TOP_SHARE,
    Departure,
)

STRIDE: Final = 6
"""So many pieces are looked at together while the air stays well below the top of its band."""

_FULL_TOP: Final = floor(USUAL_TOP_SHARE * MOST_BINS)
"""Where the top stands among the peaks of a band that is learned in full."""

_NEVER_CALM: Final = (0, 0, 0.0)


class _Band:
    """The band as it is learned, piece by piece: medians and peaks of the last three hours.

    Both are looked up only when asked: a calm hour asks for neither.
    """

    __slots__ = ("means", "peaks", "swing")

    def __init__(self) -> None:
        self.means: list[float] = []
        self.peaks: list[float] = []
        self.swing = Swing()

    def learn(self, means: list[float], peaks: list[float], ended_ms: list[int]) -> None:
        """Take pieces; each has ended by the first reading after it."""
        self.means += means
        self.peaks += peaks
        if self.swing.top_c == -inf:
            return
        for peak_c, at_ms in zip(peaks, ended_ms, strict=True):
            self.swing = swings.with_piece(self.swing, peak_c, at_ms)

    def usual_c(self, learned: int) -> float:
        """Return the middle of the band once so many pieces were learned."""
        if learned < FEWEST_BINS:
            return 0.0
        means = sorted(self.means[max(0, learned - MOST_BINS) : learned])
        half = len(means) // 2
        return means[half] if len(means) % 2 else (means[half - 1] + means[half]) / 2.0

    def latest_peaks(self) -> list[float]:
        """Return the peaks that make the band, the lowest first."""
        return sorted(self.peaks[-MOST_BINS:])

    def top_c(self) -> float:
        """Return the top of the band as it is now."""
        return self.swing.lifted(_top_of(self.latest_peaks()))


def _top_of(peaks: list[float]) -> float:
    if len(peaks) < FEWEST_BINS:
        return inf
    return peaks[floor(USUAL_TOP_SHARE * len(peaks))]


class _Run:
    """One run over readings: where it is, and what it has found."""

    def __init__(self, times_ms: NDArray[np.int64], air_c: NDArray[np.float64]) -> None:
        self.times_ms = times_ms
        self.air_c = air_c
        self.band = _Band()
        self.found: list[Departure] = []
        self.calm: tuple[int, int, float] = _NEVER_CALM
        """The last piece in which the air was calm, and what calm meant: first, after, °C."""
        grid = times_ms // BIN_MS
        self.starts = np.flatnonzero(np.diff(grid, prepend=grid[0] - 1))
        # Added one after the other, as the fold does: the same sums to the last bit.
        number = np.cumsum(np.diff(grid, prepend=grid[0]) != 0)
        counts = np.bincount(number)
        self.means = (np.bincount(number, weights=air_c) / counts).tolist()
        self.peaks = np.maximum.reduceat(air_c, self.starts).tolist()
        self.lows = np.minimum.reduceat(air_c, self.starts).tolist()
        self.firsts = air_c[self.starts].tolist()
        self.begins_ms = times_ms[self.starts].tolist()
        self.edges = [*self.starts.tolist(), len(times_ms)]

    def go(self) -> list[Departure]:
        self.calm = (0, 1, inf)  # the very first reading counts as calm
        pending: tuple[float, float] | None = None
        piece = 0
        while piece < len(self.firsts):
            piece, pending = self._within(piece, pending)
        return self.found

    def _within(
        self, begun: int, pending: tuple[float, float] | None
    ) -> tuple[int, tuple[float, float] | None]:
        """Follow the air in its band until it leaves it, and back; return where to go on."""
        band, means, peaks, firsts = self.band, self.means, self.peaks, self.firsts
        pieces = len(firsts)
        # At a piece, so many were learned besides: the readings in hand are the last of them.
        ahead = len(band.means) + (pending is not None) - begun
        piece = begun
        at_least_c = -inf  # the top of the band is known to be no lower
        while piece < pieces:
            first, after = self.edges[piece], self.edges[piece + 1]
            value_c = firsts[piece]
            if value_c > at_least_c + MARGIN_C and value_c > band.top_c() + MARGIN_C:
                self._look_back_for_calm(begun, piece - 1, ahead)
                return self._out(first)
            if pending is not None:
                band.learn([pending[0]], [pending[1]], [self.begins_ms[piece]])
            latest = band.latest_peaks()
            # Each piece that is learned takes the place of one before, so it moves the top by
            # one place among the peaks at most.
            at_least_c = latest[_FULL_TOP - (STRIDE - 1)] if len(band.peaks) > MOST_BINS else -inf
            if max(peaks[piece : piece + STRIDE]) <= at_least_c + MARGIN_C:
                last = min(piece + STRIDE, pieces) - 1
                ended_ms = self.begins_ms[piece + 1 : last + 1]
                band.learn(means[piece:last], peaks[piece:last], ended_ms)
                pending = (means[last], peaks[last])
                piece = last + 1
                continue
            at_least_c = band.swing.lifted(_top_of(latest))
            if peaks[piece] > at_least_c + MARGIN_C:
                left = self._first_above(first + 1, after)
                if left is not None:
                    if not self._is_calm(first, left, band.usual_c(piece + ahead)):
                        self._look_back_for_calm(begun, piece - 1, ahead)
                    return self._out(left)
            pending = (means[piece], peaks[piece])
            piece += 1
        return pieces, None

    def _look_back_for_calm(self, begun: int, piece: int, ahead: int) -> None:
        """Note the last piece of a time within the band in which the air was calm, if any was."""
        while piece >= begun:
            usual_c = self.band.usual_c(piece + ahead)
            if self.lows[piece] <= usual_c:
                self.calm = (self.edges[piece], self.edges[piece + 1], usual_c)
                return
            piece -= 1

    def _first_above(self, first: int, after: int) -> int | None:
        above = np.flatnonzero(self.air_c[first:after] > self.band.top_c() + MARGIN_C)
        return first + int(above[0]) if len(above) else None

    def _is_calm(self, first: int, after: int, usual_c: float) -> bool:
        """Note whether the air was calm in a piece; at which reading is looked up when asked."""
        if not bool((self.air_c[first:after] <= usual_c).any()):
            return False
        self.calm = (first, after, usual_c)
        return True

    def _calm_ms(self) -> int:
        first, after, usual_c = self.calm
        last = np.flatnonzero(self.air_c[first:after] <= usual_c)[-1]
        return int(self.times_ms[first + int(last)])

    def _out(self, left: int) -> tuple[int, tuple[float, float] | None]:
        """Follow times out of the band until a piece ends within it; return where to go on."""
        while True:
            back = self._follow(left)
            if back is None:
                return len(self.firsts), None
            piece = int(np.searchsorted(self.starts, back, side="right")) - 1
            after = self.edges[piece + 1]
            left_again = self._first_above(back + 1, after)
            within = after if left_again is None else left_again
            self._is_calm(back, within, self.band.usual_c(len(self.band.means)))
            if left_again is None:
                values = self.air_c[back:after]
                # The last of the running sums: Python's own sum may round otherwise.
                mean_c = float(np.cumsum(values)[-1]) / len(values)
                return piece + 1, (mean_c, float(values.max()))
            left = left_again

    def _follow(self, left: int) -> int | None:
        """Note a departure; return the reading that ended it, None where none did."""
        times_ms, air_c, band = self.times_ms, self.air_c, self.band
        left_ms = int(times_ms[left])
        top_c = band.top_c()
        lasting = int(np.searchsorted(times_ms, left_ms + ADOPTED_AFTER_MS))
        cold = np.flatnonzero(air_c[left + 1 : lasting] <= top_c)
        back = left + 1 + int(cold[0]) if len(cold) else lasting
        last = min(back, len(times_ms) - 1)
        out = Departure(
            usual_c=band.usual_c(len(band.means)),
            top_c=top_c,
            from_ms=self._calm_ms(),
            left_ms=left_ms,
            peak_c=float(air_c[left]),
            peak_ms=left_ms,
            last_ms=left_ms,
            last_c=float(air_c[left]),
        )
        within = slice(left + 1, back)
        for at_ms, value_c in zip(times_ms[within].tolist(), air_c[within].tolist(), strict=True):
            out = usual.further(out, at_ms, value_c)
        self.found.append(replace(out, last_ms=int(times_ms[last]), last_c=float(air_c[last])))
        if back == len(times_ms):
            return None
        if air_c[back] > top_c:  # lasting: another band
            self.band = _Band()
            self.calm = (back, back + 1, inf)
        else:
            crest = Crest(left_ms, int(times_ms[back]), out.peak_c)
            band.swing = swings.with_crest(band.swing, crest, band.usual_c(len(band.means)))
        return back


def departures(times_ms: NDArray[np.int64], air_c: NDArray[np.float64]) -> list[Departure]:
    """Return the times the air was out of its band, in order; the last may be under way.

    Args:
        times_ms: Instants of the readings, increasing, after the epoch.
        air_c: The air at each, °C, finite.
    """
    return _Run(times_ms, air_c).go() if len(times_ms) else []
