"""The usual band over a long run of readings at once: the same departures, many times sooner.

``usual.fold`` takes a reading at a time, as a live service must. Whoever looks back over a
year has all readings at hand: here a piece of five minutes is one step, and a time out of
the band is one look. A property test holds both to the same departures, to the digit.

Pure: no clock, no I/O, no globals. Knows nothing of units or stores.
"""

from bisect import bisect_left, insort
from collections import deque
from math import floor, inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.rules.usual import (
    ADOPTED_AFTER_MS,
    BIN_MS,
    FEWEST_BINS,
    MARGIN_C,
    MOST_BINS,
    USUAL_TOP_SHARE,
    Departure,
)

_NEVER_CALM: Final = (0, 0, 0.0)


class _Band:
    """The band as it is learned, piece by piece: medians and peaks of the last three hours."""

    __slots__ = ("_means", "_peaks", "_pieces", "top_c", "usual_c")

    def __init__(self) -> None:
        self._pieces: deque[tuple[float, float]] = deque()
        self._means: list[float] = []
        self._peaks: list[float] = []
        self.usual_c = 0.0
        self.top_c = inf

    def learn(self, mean_c: float, peak_c: float) -> None:
        pieces, means, peaks = self._pieces, self._means, self._peaks
        if len(pieces) == MOST_BINS:
            old_mean_c, old_peak_c = pieces.popleft()
            del means[bisect_left(means, old_mean_c)]
            del peaks[bisect_left(peaks, old_peak_c)]
        pieces.append((mean_c, peak_c))
        insort(means, mean_c)
        insort(peaks, peak_c)
        count = len(means)
        if count < FEWEST_BINS:
            return
        half = count // 2
        self.usual_c = means[half] if count % 2 else (means[half - 1] + means[half]) / 2.0
        self.top_c = peaks[min(floor(USUAL_TOP_SHARE * count), count - 1)]


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
        self.edges = [*self.starts.tolist(), len(times_ms)]

    def go(self) -> list[Departure]:
        band, edges, firsts, peaks, lows = (
            self.band, self.edges, self.firsts, self.peaks, self.lows,
        )  # fmt: skip
        pending: tuple[float, float] | None = None
        self.calm = (0, 1, inf)  # the very first reading counts as calm
        piece, pieces = 0, len(firsts)
        while piece < pieces:
            first, after = edges[piece], edges[piece + 1]
            left = first if firsts[piece] > band.top_c + MARGIN_C else None
            if left is None:
                if pending is not None:
                    band.learn(*pending)
                if peaks[piece] > band.top_c + MARGIN_C:
                    left = self._first_above(first + 1, after)
                if lows[piece] <= band.usual_c:
                    if left is None:
                        self.calm = (first, after, band.usual_c)
                    else:
                        self._note_calm(first, left)
            if left is None:
                pending = (self.means[piece], peaks[piece])
                piece += 1
                continue
            piece, pending = self._out(left)
            band = self.band
        return self.found

    def _first_above(self, first: int, after: int) -> int | None:
        above = np.flatnonzero(self.air_c[first:after] > self.band.top_c + MARGIN_C)
        return first + int(above[0]) if len(above) else None

    def _note_calm(self, first: int, after: int) -> None:
        """Remember where the air was calm; which reading it was is looked up when asked."""
        if bool((self.air_c[first:after] <= self.band.usual_c).any()):
            self.calm = (first, after, self.band.usual_c)

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
            self._note_calm(back, within)
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
        lasting = int(np.searchsorted(times_ms, left_ms + ADOPTED_AFTER_MS))
        lasting = max(lasting, left + 1)
        within = np.flatnonzero(air_c[left + 1 : lasting] <= band.top_c)
        back = left + 1 + int(within[0]) if len(within) else lasting
        peak = left + int(np.argmax(air_c[left:back]))
        last = min(back, len(times_ms) - 1)
        self.found.append(
            Departure(
                usual_c=band.usual_c,
                top_c=band.top_c,
                from_ms=self._calm_ms(),
                left_ms=left_ms,
                peak_c=float(air_c[peak]),
                peak_ms=int(times_ms[peak]),
                last_ms=int(times_ms[last]),
                last_c=float(air_c[last]),
            )
        )
        if back == len(times_ms):
            return None
        if air_c[back] > band.top_c:  # lasting: another band
            self.band = _Band()
            self.calm = (back, back + 1, inf)
        return back


def departures(times_ms: NDArray[np.int64], air_c: NDArray[np.float64]) -> list[Departure]:
    """Return the times the air was out of its band, in order; the last may be under way.

    Args:
        times_ms: Instants of the readings, increasing, after the epoch.
        air_c: The air at each, °C, finite.
    """
    return _Run(times_ms, air_c).go() if len(times_ms) else []
