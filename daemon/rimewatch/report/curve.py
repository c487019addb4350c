"""The course of a unit's temperature, as a chart needs it. Pure values."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Span = tuple[int, int]
"""Start and end, milliseconds UTC."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Curve:
    """Measured and governing temperature over time; NaN where nothing was measured.

    All three arrays have one length, and the times strictly increase.
    """

    times_ms: NDArray[np.int64]  # (n_points,)
    measured_c: NDArray[np.float64]  # (n_points,)
    governing_c: NDArray[np.float64]  # (n_points,)
    doors: tuple[Span, ...] = ()
    """When a door stood open."""
    defrosts: tuple[Span, ...] = ()
    """Defrosts, seen in the readings or scheduled."""

    def __post_init__(self) -> None:
        """Refuse arrays that do not belong together."""
        lengths = {len(self.times_ms), len(self.measured_c), len(self.governing_c)}
        if len(lengths) != 1:
            raise ValueError(
                f"a curve's arrays have {sorted(lengths)} points: expected one length for all three"
            )
        if len(self.times_ms) > 1 and not bool(np.all(np.diff(self.times_ms) > 0)):
            raise ValueError("a curve's times must strictly increase: sort them, drop duplicates")
