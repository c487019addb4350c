"""What a run of readings amounts to: range, mean, time above a limit, missing time.

Between two consecutive readings no further apart than the stale time the
temperature is linear; a longer interval is missing time, and nothing runs through
it. Pure: no clock, no I/O.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimewatch.science import kinetic
from rimewatch.science.segments import linear_segments, seconds_within


@dataclass(frozen=True, slots=True, kw_only=True)
class Statistics:
    """Figures of one probe over a period. None where there is nothing to say it of."""

    readings: int
    monitored_s: float
    missing_s: float
    min_c: float | None
    max_c: float | None
    mean_c: float | None
    kinetic_c: float | None
    above_limit_s: float


def cut_to_period(
    times_ms: NDArray[np.int64],
    values_c: NDArray[np.float64],
    *,
    stale_ms: float,
    from_ms: float,
    to_ms: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the curve within a period, with a point at each edge that cuts a monitored stretch.

    Args:
        times_ms: Reading times, strictly increasing. # (n_readings,)
        values_c: Temperatures at them. # (n_readings,)
        stale_ms: Intervals longer than this are missing time: no point is put into one.
        from_ms: Start of the period.
        to_ms: End of the period.

    >>> times, values = cut_to_period(
    ...     np.array([0, 60_000]), np.array([2.0, 4.0]), stale_ms=180_000, from_ms=30_000, to_ms=9e9
    ... )
    >>> times.tolist(), values.tolist()
    ([30000.0, 60000.0], [3.0, 4.0])
    """
    times = times_ms.astype(np.float64)
    inside = (times >= from_ms) & (times <= to_ms)
    cut_times, cut_values = times[inside], values_c[inside]
    for edge_ms, at_start in ((from_ms, True), (to_ms, False)):
        after = int(np.searchsorted(times, edge_ms, side="right"))
        if after in (0, len(times)) or times[after - 1] == edge_ms:
            continue
        start, end = times[after - 1], times[after]
        if end - start > stale_ms:
            continue
        slope = (values_c[after] - values_c[after - 1]) / (end - start)
        value = values_c[after - 1] + slope * (edge_ms - start)
        place = 0 if at_start else len(cut_times)
        cut_times = np.insert(cut_times, place, edge_ms)
        cut_values = np.insert(cut_values, place, value)
    return cut_times, cut_values


def gaps_ms(
    times_ms: NDArray[np.int64], *, stale_ms: float, from_ms: float, to_ms: float
) -> list[tuple[float, float]]:
    """Return the missing times of a period as (start, end), in milliseconds.

    The time from the period's start to the first reading, and from the last reading
    to its end, count likewise once they are longer than the stale time.
    """
    edges = np.concatenate(
        ([from_ms], times_ms[(times_ms > from_ms) & (times_ms < to_ms)], [to_ms])
    ).astype(np.float64)
    before = times_ms[times_ms <= from_ms]
    after = times_ms[times_ms >= to_ms]
    found: list[tuple[float, float]] = []
    lengths = np.diff(edges)
    candidates = lengths > stale_ms
    candidates[[0, -1]] = lengths[[0, -1]] > 0.0  # cut by the period, they may be longer
    for position in np.flatnonzero(candidates):
        start, end = float(edges[position]), float(edges[position + 1])
        # An interval cut by the period is judged by its whole length.
        whole_start = float(before[-1]) if position == 0 and len(before) else start
        whole_end = float(after[0]) if position == len(edges) - 2 and len(after) else end
        if whole_end - whole_start > stale_ms:
            found.append((start, end))
    return found


def statistics(
    times_ms: NDArray[np.int64],
    values_c: NDArray[np.float64],
    *,
    stale_ms: float,
    from_ms: float,
    to_ms: float,
    limit_c: float,
) -> Statistics:
    """Return the figures of one probe over a period.

    Readings just outside the period may be given: they are used to interpolate at its
    edges and to judge the gaps there, and are not counted.

    Args:
        times_ms: Reading times, strictly increasing. # (n_readings,)
        values_c: Measured temperatures, °C. # (n_readings,)
        stale_ms: Intervals longer than this are missing time.
        from_ms: Start of the period.
        to_ms: End of the period, not before its start.
        limit_c: The limit for :attr:`Statistics.above_limit_s`.
    """
    inside = values_c[(times_ms >= from_ms) & (times_ms <= to_ms)]
    missing = gaps_ms(times_ms, stale_ms=stale_ms, from_ms=from_ms, to_ms=to_ms)
    segments = linear_segments(
        *cut_to_period(times_ms, values_c, stale_ms=stale_ms, from_ms=from_ms, to_ms=to_ms),
        max_gap_ms=stale_ms,
    )
    seen = ~segments.is_gap
    length_s = segments.length_s[seen]
    monitored_s = float(length_s.sum())
    mean_c: float | None = None
    kinetic_c: float | None = None
    if monitored_s > 0.0:
        start_c, end_c = segments.from_c[seen], segments.to_c[seen]
        mean_c = float(((start_c + end_c) / 2.0 * length_s).sum()) / monitored_s
        kinetic_c = kinetic.of_line(start_c, end_c, length_s)
    elif len(inside):
        mean_c = float(inside.mean())
        kinetic_c = kinetic.celsius_of_rate(float(kinetic.reaction_rate(inside).mean()))
    return Statistics(
        readings=len(inside),
        monitored_s=monitored_s,
        missing_s=sum(end - start for start, end in missing) / 1000.0,
        min_c=float(inside.min()) if len(inside) else None,
        max_c=float(inside.max()) if len(inside) else None,
        mean_c=mean_c,
        kinetic_c=kinetic_c,
        above_limit_s=float(seconds_within(segments, limit_c, np.inf)[seen].sum()),
    )


def joined(parts: Sequence[Statistics]) -> Statistics:
    """Return the figures of several periods, one behind the other, as of one.

    Args:
        parts: At least one.
    """
    if len(parts) == 1:
        return parts[0]
    # Where nothing was monitored the readings weigh, as within one period.
    by_time = any(part.monitored_s > 0.0 for part in parts)
    weights = [part.monitored_s if by_time else float(part.readings) for part in parts]
    known = [
        (weight, part.mean_c, float(kinetic.reaction_rate(np.array([part.kinetic_c]))[0]))
        for weight, part in zip(weights, parts, strict=True)
        if weight > 0.0 and part.mean_c is not None and part.kinetic_c is not None
    ]
    total = sum(weight for weight, _, _ in known)
    lowest = [part.min_c for part in parts if part.min_c is not None]
    highest = [part.max_c for part in parts if part.max_c is not None]
    return Statistics(
        readings=sum(part.readings for part in parts),
        monitored_s=sum(part.monitored_s for part in parts),
        missing_s=sum(part.missing_s for part in parts),
        min_c=min(lowest, default=None),
        max_c=max(highest, default=None),
        mean_c=sum(weight * mean for weight, mean, _ in known) / total if known else None,
        kinetic_c=kinetic.celsius_of_rate(sum(weight * rate for weight, _, rate in known) / total)
        if known
        else None,
        above_limit_s=sum(part.above_limit_s for part in parts),
    )
