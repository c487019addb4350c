"""Checking a probe in an ice bath: has it settled, and how far off is it?

Crushed ice and water, stirred, the probe clear of the walls: the bath is at 0 °C. A
kitchen's bath is good to some hundredths of a degree, far inside what is asked here.

Pure: no clock, no I/O. Proposes an offset; sets none. A check at 0 °C says little of
the same probe at −35 °C.

References:
    [1] FDA Food Code 2022, 4-203.11(A): food thermometers accurate to ±1 °C; accepting
        0 ± 1 °C (32 ± 2 °F) in an ice slush is the usual practice under it.
    [2] ASTM E563, ice-point bath: 0.002 to 0.005 °C in a laboratory, from memory.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from rimewatch.vocabulary import MS_PER_S

ICE_POINT_C: Final = 0.0
DEFAULT_ACCEPT_C: Final = 1.0
"""Source: [1]."""
DEFAULT_WINDOW_S: Final = 180.0
DEFAULT_SPREAD_C: Final = 0.2
DEFAULT_SLOPE_C_PER_MIN: Final = 0.05
"""Window, spread and slope that count as settled: common practice, no source."""
FEWEST_READINGS: Final = 3


class IcePointState(StrEnum):
    """How a check came out."""

    TOO_FEW = "too few readings"
    UNSETTLED = "not settled yet"
    ACCEPTED = "accepted"
    REJECTED = "rejected"


@dataclass(frozen=True, slots=True, kw_only=True)
class IcePointCheck:
    """What the last minutes in the bath show. None where there is nothing to say."""

    state: IcePointState
    readings: int
    mean_c: float | None
    spread_c: float | None
    """Largest less smallest reading."""
    slope_c_per_min: float | None
    offset_c: float | None
    """What to add to the probe's value; None unless settled."""


def check_ice_point(
    times_ms: ArrayLike,
    celsius: ArrayLike,
    *,
    window_s: float = DEFAULT_WINDOW_S,
    accept_c: float = DEFAULT_ACCEPT_C,
    max_spread_c: float = DEFAULT_SPREAD_C,
    max_slope_c_per_min: float = DEFAULT_SLOPE_C_PER_MIN,
) -> IcePointCheck:
    """Judge the last minutes of a probe's stay in an ice bath.

    The readings must cover at least half the window: three in two seconds have not
    settled, they have only just begun.

    Args:
        times_ms: Times of the readings, ms, strictly increasing.
        celsius: What the probe said, °C, without the offset under test.
        window_s: How much of the end is judged, in seconds.
        accept_c: The largest error, in °C, with which the probe may stay in use.
        max_spread_c: The largest spread, in °C, that counts as settled.
        max_slope_c_per_min: The steepest trend, in °C a minute, likewise.

    Raises:
        ValueError: If the lists differ in length or the times do not increase.

    >>> minutes = [60_000 * n for n in range(6)]
    >>> check = check_ice_point(minutes, [8.0, 1.1, 0.4, 0.3, 0.3, 0.4], window_s=180)
    >>> check.state.value, round(check.offset_c, 2)
    ('accepted', -0.35)
    """
    times = np.asarray(times_ms, dtype=np.float64)
    values = np.asarray(celsius, dtype=np.float64)
    if times.ndim != 1 or times.shape != values.shape:
        raise ValueError(
            f"times_ms has shape {times.shape}, celsius {values.shape}; "
            "expected two lists of one length"
        )
    if not (np.diff(times) > 0.0).all():
        raise ValueError("times_ms does not increase throughout; sort it and drop duplicates")
    if len(times):
        kept = times >= times[-1] - window_s * MS_PER_S
        times, values = times[kept], values[kept]
    covered = len(times) >= FEWEST_READINGS and times[-1] - times[0] >= window_s * MS_PER_S / 2.0
    if not covered or not np.isfinite(values).all():
        return IcePointCheck(
            state=IcePointState.TOO_FEW,
            readings=len(times),
            mean_c=None,
            spread_c=None,
            slope_c_per_min=None,
            offset_c=None,
        )
    mean_c = float(values.mean())
    spread_c = float(values.max() - values.min())
    minutes = (times - times.mean()) / (60.0 * MS_PER_S)
    slope = float((minutes * (values - mean_c)).sum() / (minutes * minutes).sum())
    tiny = 1e-9
    settled = spread_c <= max_spread_c + tiny and abs(slope) <= max_slope_c_per_min + tiny
    if not settled:
        state = IcePointState.UNSETTLED
    elif abs(mean_c - ICE_POINT_C) <= accept_c + tiny:
        state = IcePointState.ACCEPTED
    else:
        state = IcePointState.REJECTED
    return IcePointCheck(
        state=state,
        readings=len(times),
        mean_c=mean_c,
        spread_c=spread_c,
        slope_c_per_min=slope,
        offset_c=ICE_POINT_C - mean_c if settled else None,
    )
