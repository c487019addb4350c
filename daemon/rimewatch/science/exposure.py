"""How much of an allowed time in the warm a piece of fish has used up.

Two shapes of limit occur in the seafood guidance. *Bands*: a hazard has a longest
cumulative time for each range of temperature. *Two lines*: time counts above one line,
and whether a second, warmer line was ever crossed picks how much of it is allowed.

Where fish was in several bands the guidance's table says nothing of how to add them
up; here the used fractions are summed, and the result says so. Growth is logarithmic
and the sum is a reading of the table, not a forecast of bacteria.

Pure: no clock, no I/O. Holds no limit of its own: they come in as values. A result
within its allowance is a record and no promise of safety.

References:
    [1] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed. (2011,
        revised 2019-2022), chapter 7 and Appendix 4.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rimewatch.science.segments import Segments, seconds_within

_ROUNDING = 1e-9
"""Relative slack for sums of floats, far below the clock's millisecond."""


class Basis(StrEnum):
    """What a share of the allowance rests on."""

    NO_EXPOSURE = "no time where the hazard's limits apply"
    ONE_BAND = "one band, read straight from the table"
    SUM_OF_FRACTIONS = (
        "several bands: sum of the used fractions, a conservative reading; "
        "the table itself does not say how to add bands"
    )
    TWO_LINES = "the guidance's own rule for mixed exposure"


@dataclass(frozen=True, slots=True)
class Band:
    """A range of temperature up to and including ``up_to_c``; inf: without an end."""

    up_to_c: float
    allowed_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BandLimits:
    """A hazard's bands, coldest first; the first starts at ``from_c``, included.

    Each band starts right above the one before, so a temperature in a gap of a printed
    table belongs to the warmer band.

    Raises:
        ValueError: If bands are missing, do not rise, allow more time when warmer, or
            the last one ends.
    """

    hazard: str
    from_c: float
    bands: tuple[Band, ...]

    def __post_init__(self) -> None:
        edges = [self.from_c, *(band.up_to_c for band in self.bands)]
        rising = all(low < high for low, high in pairwise(edges[1:]))
        allowed = [band.allowed_s for band in self.bands]
        if (
            not self.bands
            or not math.isinf(edges[-1])
            or not rising
            or edges[0] > edges[1]
            or min(allowed) <= 0.0
            or sorted(allowed, reverse=True) != allowed
        ):
            raise ValueError(
                f"bands of {self.hazard!r} are {self.bands}; expected rising upper edges "
                "that end with inf, and times that shrink as it gets warmer"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoLineLimits:
    """Time counts above ``line_c``; ever above ``warm_line_c``, the short cap holds.

    With ``mixed_total_s`` and ``mixed_warm_s`` there is an alternative to the short
    cap: so much in all as long as no more than so much of it is above the warm line.
    Time above ``hot_line_c`` does not count: the food is then being cooked.
    """

    hazard: str
    line_c: float
    warm_line_c: float
    cool_s: float
    warm_s: float
    hot_line_c: float = math.inf
    mixed_total_s: float | None = None
    mixed_warm_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """What a curve used of a hazard's allowance. ``share`` 1.0 is all of it.

    ``share`` counts monitored time alone. ``share_with_gaps`` counts each gap as well,
    at the warmer of its two ends: with gaps in the record neither is the truth, and
    the fish may have been warmer than both.
    """

    hazard: str
    counted_s: float
    """Monitored seconds where the hazard's limits apply."""
    band_s: tuple[float, ...]
    """Monitored seconds in each band; for two lines: below and above the warm line."""
    share: float
    share_with_gaps: float
    missing_s: float
    basis: Basis
    with_gaps_s: tuple[float, ...] = ()
    """For two lines: below and above the warm line, gaps counted as ``share_with_gaps`` does."""
    ever_warm: bool = False
    """For two lines: whether the warm line was ever crossed."""

    @property
    def within(self) -> bool:
        """Whether the allowance held, gaps counted. All of it used is still within."""
        return self.share_with_gaps <= 1.0 + _ROUNDING


def band_exposure(segments: Segments, limits: BandLimits) -> Exposure:
    """Return what a curve used of a hazard's allowance, band by band.

    Args:
        segments: The fish's internal temperature.
        limits: The hazard's bands.

    >>> from rimewatch.science.segments import linear_segments
    >>> hour = 3_600_000
    >>> fish = linear_segments([0, hour, 2 * hour], [3.0, 3.0, 9.0], max_gap_ms=hour)
    >>> made_up = BandLimits(
    ...     hazard="example",
    ...     from_c=0.0,
    ...     bands=(Band(6.0, 48 * 3600.0), Band(float("inf"), 5 * 3600.0)),
    ... )
    >>> used = band_exposure(fish, made_up)
    >>> [round(s) for s in used.band_s], round(used.share, 4)
    ([5400, 1800], 0.1313)
    """
    in_band = _seconds_by_band(segments, limits)
    allowed = np.array([band.allowed_s for band in limits.bands])
    with_gaps = in_band.sum(axis=1)
    monitored = in_band[:, ~segments.is_gap].sum(axis=1)
    touched = int((with_gaps > 0.0).sum())
    basis = (Basis.NO_EXPOSURE, Basis.ONE_BAND, Basis.SUM_OF_FRACTIONS)[min(touched, 2)]
    return Exposure(
        hazard=limits.hazard,
        counted_s=float(monitored.sum()),
        band_s=tuple(monitored.tolist()),
        share=float((monitored / allowed).sum()),
        share_with_gaps=float((with_gaps / allowed).sum()),
        missing_s=segments.missing_s,
        basis=basis,
    )


def two_line_exposure(segments: Segments, limits: TwoLineLimits) -> Exposure:
    """Return what a curve used of an allowance whose cap a warmer line picks.

    Args:
        segments: The temperature the limit names: for scombrotoxin the surroundings',
            for raw ready-to-eat fish the fish's own. The air serves for the first and
            errs on the warm side for the second in a failing case.
        limits: The lines and caps.

    >>> from rimewatch.science.segments import linear_segments
    >>> hour = 3_600_000
    >>> air = linear_segments([0, 4 * hour], [6.0, 6.0], max_gap_ms=4 * hour)
    >>> lines = TwoLineLimits(
    ...     hazard="example", line_c=4.4, warm_line_c=21.1, cool_s=8 * 3600, warm_s=4 * 3600
    ... )
    >>> two_line_exposure(air, lines).share
    0.5
    """
    cool = seconds_within(segments, limits.line_c, limits.warm_line_c)
    warm = seconds_within(segments, limits.warm_line_c, limits.hot_line_c)
    # The top of the warm range is open: food exactly at the hot line no longer counts.
    at_hot_line = (segments.from_c == limits.hot_line_c) & (segments.to_c == limits.hot_line_c)
    warm = np.where(at_hot_line, 0.0, warm)
    monitored = ~segments.is_gap
    peak = np.maximum(segments.from_c, segments.to_c)

    def share(chosen: NDArray[np.bool_]) -> float:
        return share_used(
            limits,
            float(cool[chosen].sum()),
            float(warm[chosen].sum()),
            ever_warm=bool((peak[chosen] > limits.warm_line_c).any()),
        )

    everything = np.ones(len(monitored), dtype=np.bool_)
    band_s = (float(cool[monitored].sum()), float(warm[monitored].sum()))
    with_gaps = share(everything)
    ever_warm = bool((peak > limits.warm_line_c).any())
    return Exposure(
        hazard=limits.hazard,
        counted_s=sum(band_s),
        band_s=band_s,
        share=share(monitored),
        share_with_gaps=with_gaps,
        missing_s=segments.missing_s,
        basis=Basis.TWO_LINES if with_gaps > 0.0 else Basis.NO_EXPOSURE,
        with_gaps_s=(float(cool.sum()), float(warm.sum())),
        ever_warm=ever_warm,
    )


def share_used(limits: TwoLineLimits, cool_s: float, warm_s: float, *, ever_warm: bool) -> float:
    """Return which share of an allowance some time in the warm is; 1.0 is all of it.

    Args:
        limits: The lines and caps.
        cool_s: Seconds above the line, up to the warm line.
        warm_s: Seconds above the warm line.
        ever_warm: Whether the warm line was ever crossed.
    """
    total_s = cool_s + warm_s
    if not ever_warm:
        return total_s / limits.cool_s
    if limits.mixed_total_s is None or limits.mixed_warm_s is None:
        return total_s / limits.warm_s
    alternative = max(total_s / limits.mixed_total_s, warm_s / limits.mixed_warm_s)
    return min(total_s / limits.warm_s, alternative)


def _seconds_by_band(segments: Segments, limits: BandLimits) -> NDArray[np.float64]:
    # One row a band, one column a segment. The first band includes the temperature it
    # starts at, so it starts just below.
    low = math.nextafter(limits.from_c, -math.inf)
    rows = []
    for band in limits.bands:
        rows.append(seconds_within(segments, low, band.up_to_c))
        low = band.up_to_c
    return np.array(rows)
