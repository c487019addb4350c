"""A unit's course as one SVG drawing: fish, air, limits, gaps, doors and defrosts. Pure.

Strokes differ as well as colours, and all that it shows stands in the tables below it.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.evaluation.mornings import instant_ms
from rimewatch.report import wording
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H
from rimewatch.web.course import Course, TimeSpan
from rimewatch.web.live import Bucket

WIDTH: Final = 720
HEIGHT: Final = 300
LEFT: Final = 46
RIGHT: Final = 712
TOP: Final = 10
BOTTOM: Final = 262
_STRIP: Final = 5
LEAST_SPAN_C: Final = 4.0


class _Frame:
    """Where times and temperatures lie in the drawing."""

    def __init__(self, course: Course, low_c: float, high_c: float) -> None:
        self._course = course
        self.low_c, self.high_c = low_c, high_c

    def x(self, at_ms: float) -> float:
        course = self._course
        share = (at_ms - course.from_ms) / (course.to_ms - course.from_ms)
        return LEFT + (RIGHT - LEFT) * min(1.0, max(0.0, share))

    def y(self, celsius: float) -> float:
        return TOP + (BOTTOM - TOP) * (self.high_c - celsius) / (self.high_c - self.low_c)


def chart_svg(shop: Shop, unit: Unit, course: Course, label: str) -> str:
    """Return the drawing.

    Args:
        shop: Its zone and scale.
        unit: Its limits.
        course: What is drawn.
        label: What the drawing is called, for those who do not see it; plain words.
    """
    frame = _Frame(course, *_range(unit, course))
    parts = [
        *_spans(frame, course.gaps, "gap", TOP, BOTTOM - TOP),
        *_grid(frame, shop, course),
        *_line(frame, unit.limit_c, "lim"),
        *(() if unit.operating_limit_c is None else _line(frame, unit.operating_limit_c, "early")),
        f'<path class="air" d="{_path(frame, course.air, course.step_ms)}"/>',
        f'<path class="fish" d="{_path(frame, course.fish, course.step_ms)}"/>',
        *_spans(frame, course.defrosts, "defrost", BOTTOM + 1, _STRIP),
        *_spans(frame, course.doors, "door", BOTTOM + 1 + _STRIP, _STRIP),
    ]
    said = label.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
    return (
        f'<svg class="chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{said}">'
        f"{''.join(parts)}</svg>"
    )


def _range(unit: Unit, course: Course) -> tuple[float, float]:
    seen = [*course.fish, *course.air]
    low = min((b.low_c for b in seen), default=unit.limit_c - LEAST_SPAN_C)
    high = max((b.high_c for b in seen), default=unit.limit_c)
    low, high = min(low, unit.limit_c), max(high, unit.limit_c)
    pad = max(0.06 * (high - low), (LEAST_SPAN_C - (high - low)) / 2, 0.2)
    return low - pad, high + pad


def _path(frame: _Frame, buckets: Sequence[Bucket], step_ms: int) -> str:
    path: list[str] = []
    before: Bucket | None = None
    # Sparse readings leave steps empty; a line is drawn over what the stale time allows,
    # and the gaps lie behind it.
    reach_ms = max(3 * step_ms, 15 * 60_000)
    for bucket in buckets:
        is_cut = before is None or bucket.at_ms - before.at_ms > reach_ms
        high, low = frame.y(bucket.high_c), frame.y(bucket.low_c)
        path.append(f"{'M' if is_cut else 'L'}{frame.x(bucket.at_ms + step_ms / 2):.1f} {high:.1f}")
        if low - high >= 0.5:
            path.append(f"V{low:.1f}")
        elif is_cut:
            path.append("h.8")
        before = bucket
    return "".join(path)


def _line(frame: _Frame, celsius: float, kind: str) -> Iterator[str]:
    if frame.low_c <= celsius <= frame.high_c:
        yield f'<path class="{kind}" d="M{LEFT} {frame.y(celsius):.1f}H{RIGHT}"/>'


def _spans(
    frame: _Frame, spans: Iterable[TimeSpan], kind: str, top: float, height: float
) -> Iterator[str]:
    """Draw spans as bars; those that fall on one another are drawn as one."""
    drawn_to = -1.0
    for start_ms, end_ms in spans:
        left, right = frame.x(start_ms), frame.x(end_ms)
        right = max(right, left + 1.0)
        if right <= drawn_to:
            continue
        left = max(left, drawn_to)
        drawn_to = right
        yield (
            f'<rect class="{kind}" x="{left:.1f}" y="{top:g}" width="{right - left:.1f}" '
            f'height="{height:g}"/>'
        )


def _grid(frame: _Frame, shop: Shop, course: Course) -> Iterator[str]:
    low = wording.in_scale(frame.low_c, shop.display)
    high = wording.in_scale(frame.high_c, shop.display)
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100) if (high - low) / s <= 6 or s == 100)
    value = -(-low // step) * step
    while value <= high:
        share = (high - value) / (high - low)
        at = TOP + (BOTTOM - TOP) * share
        said = f"{value:.0f}".replace("-", "−")
        yield f'<path class="grid" d="M{LEFT} {at:.1f}H{RIGHT}"/>'
        yield f'<text x="{LEFT - 6}" y="{at + 4:.1f}" text-anchor="end">{said}°</text>'
        value += step
    for at_ms, said in _ticks(course, ZoneInfo(shop.timezone), shop.timezone):
        x = frame.x(at_ms)
        yield f'<path class="grid" d="M{x:.1f} {TOP}V{BOTTOM}"/>'
        if LEFT + 14 < x < RIGHT - 14:
            yield f'<text x="{x:.1f}" y="{BOTTOM + 30}" text-anchor="middle">{said}</text>'


def _ticks(course: Course, zone: ZoneInfo, timezone: str) -> Iterator[tuple[float, str]]:
    """Yield round instants of the shop's wall clock, and how they are called."""
    length_ms = course.to_ms - course.from_ms
    first = wording.local(course.from_ms, zone)
    if length_ms <= MS_PER_DAY:
        every = 1 if length_ms <= 8 * MS_PER_H else 4
        at_ms = course.from_ms - course.from_ms % (MS_PER_H // 4)
        while at_ms <= course.to_ms:
            at = wording.local(at_ms, zone)
            if at_ms >= course.from_ms and at.minute == 0 and at.hour % every == 0:
                yield at_ms, f"{at:%H:%M}"
            at_ms += MS_PER_H // 4
        return
    day = first.date()
    while True:
        day += timedelta(days=1)
        at_ms = instant_ms(day, time(0), timezone)
        if at_ms > course.to_ms:
            return
        if length_ms <= 8 * MS_PER_DAY:
            yield at_ms, f"{wording.WEEKDAYS[day.weekday()]} {day.day}"
        elif length_ms <= 40 * MS_PER_DAY and day.day % 5 == 0:
            yield at_ms, _day(wording.local(at_ms, zone))
        elif length_ms > 40 * MS_PER_DAY and day.day == 1:
            yield at_ms, wording.MONTHS[day.month - 1][:3]


def _day(at: datetime) -> str:
    return f"{at.day} {wording.MONTHS[at.month - 1][:3]}"
