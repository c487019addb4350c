"""Small curves as SVG, made of arrays on the server: no script, no picture library. Pure.

A bucket is drawn from its lowest to its highest value, so no peak is smoothed away, and
time without readings stays empty.
"""

from collections.abc import Sequence
from typing import Final

from rimewatch.evaluation.unit_now import Bucket

WIDTH: Final = 240
HEIGHT: Final = 44
_MARGIN: Final = 3
LEAST_SPAN_C: Final = 2.0
"""A curve that hardly moves looks flat, instead of noise blown up."""


def spark(
    buckets: Sequence[Bucket], *, bucket_ms: int, to_ms: int, span_ms: int, limit_c: float
) -> str:
    """Return a curve of some hours as one SVG element; empty without a bucket.

    Args:
        buckets: In order of time.
        bucket_ms: How long each is; further apart than two, and the line is interrupted.
        to_ms: The right edge.
        span_ms: How much time is shown.
        limit_c: Drawn as a dashed line where it is within sight.
    """
    shown = [b for b in buckets if to_ms - span_ms - bucket_ms <= b.at_ms <= to_ms]
    if not shown:
        return ""
    low, high = min(b.low_c for b in shown), max(b.high_c for b in shown)
    if -3.0 <= limit_c - high <= 6.0 or low <= limit_c <= high:
        high = max(high, limit_c)
    if high - low < LEAST_SPAN_C:
        middle = (high + low) / 2
        low, high = middle - LEAST_SPAN_C / 2, middle + LEAST_SPAN_C / 2

    def x(at_ms: float) -> float:
        return min(WIDTH, max(0.0, WIDTH * (at_ms - to_ms + span_ms) / span_ms))

    def y(celsius: float) -> float:
        return _MARGIN + (HEIGHT - 2 * _MARGIN) * (high - celsius) / (high - low)

    path: list[str] = []
    before: Bucket | None = None
    at_x = at_y = 0
    for bucket in shown:
        is_cut = before is None or bucket.at_ms - before.at_ms > 2 * bucket_ms
        to_x = round(x(bucket.at_ms + bucket_ms / 2))
        top, bottom = round(y(bucket.high_c)), round(y(bucket.low_c))
        # Steps from one point to the next are shorter than places.
        path.append(f"M{to_x} {top}" if is_cut else f"l{_pair(to_x - at_x, top - at_y)}")
        if bottom > top:
            path.append(f"v{bottom - top}")
        elif is_cut:
            path.append("h1")  # a bucket alone is seen as well
        at_x, at_y = to_x + int(is_cut and bottom == top), bottom
        before = bucket
    line = ""
    if low <= limit_c <= high:
        at = f"{y(limit_c):.0f}"
        line = f'<path class="lim" d="M0 {at}H{WIDTH}"/>'
    return (
        f'<svg class="spark" viewBox="0 0 {WIDTH} {HEIGHT}" preserveAspectRatio="none" '
        f'aria-hidden="true">{line}<path d="{"".join(path)}"/></svg>'
    )


def _pair(right: int, down: int) -> str:
    return f"{right}{'' if down < 0 else ' '}{down}"
