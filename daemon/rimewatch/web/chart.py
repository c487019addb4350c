"""A unit's course as one SVG drawing: fish, air, limits, gaps, doors and defrosts. Pure.

Strokes differ as well as colours, and all that it shows stands in the tables below it.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.evaluation.mornings import instant_ms
from rimewatch.evaluation.unit_now import Bucket
from rimewatch.report import wording
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H
from rimewatch.web.course import Course, TimeSpan

WIDTH: Final = 720
HEIGHT: Final = 300
LEFT: Final = 60
RIGHT: Final = 712
TOP: Final = 10
BOTTOM: Final = 262
_STRIP: Final = 5
LEAST_SPAN_C: Final = 4.0
DOINGS_UP_TO_MS: Final = 8 * MS_PER_DAY
BANDS_FROM_MS: Final = MS_PER_H
"""Steps of an hour or more are drawn as a band from lowest to highest."""
MONTHS_FROM_MS: Final = 40 * MS_PER_DAY
YEARS_FROM_MS: Final = 500 * MS_PER_DAY
"""From so long a time on the axis tells months, and years."""
_MERGED: Final = 0.5
"""Spans no further apart are drawn as one; a fraction of a unit of the drawing."""


class _Frame:
    """Where times and temperatures lie in the drawing."""

    def __init__(self, course: Course, low_c: float, high_c: float) -> None:
        self._course = course
        self.low_c, self.high_c = low_c, high_c
        self.step_ms = course.step_ms

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
        *_curve(frame, course.air, course.air_gaps, "air"),
        *_curve(frame, course.fish, course.gaps, "fish"),
        *_line(frame, unit.limit_c, "lim"),
        *(() if unit.operating_limit_c is None else _line(frame, unit.operating_limit_c, "early")),
    ]
    if shows_doings(course):
        parts.extend(_spans(frame, course.defrosts, "defrost", BOTTOM + 1, _STRIP))
        parts.extend(_spans(frame, course.doors, "door", BOTTOM + 1 + _STRIP, _STRIP))
    said = label.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
    return (
        f'<svg class="chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{said}">'
        f"{''.join(parts)}</svg>"
    )


def shows_bands(course: Course) -> bool:
    """Whether temperatures are drawn as bands."""
    return course.step_ms >= BANDS_FROM_MS


def shows_doings(course: Course) -> bool:
    """Whether doors and defrosts are drawn: over a longer time they would cover everything."""
    return course.to_ms - course.from_ms <= DOINGS_UP_TO_MS


def _range(unit: Unit, course: Course) -> tuple[float, float]:
    seen = [*course.fish, *course.air]
    low = min((b.low_c for b in seen), default=unit.limit_c - LEAST_SPAN_C)
    high = max((b.high_c for b in seen), default=unit.limit_c)
    low, high = min(low, unit.limit_c), max(high, unit.limit_c)
    pad = max(0.06 * (high - low), (LEAST_SPAN_C - (high - low)) / 2, 0.2)
    return low - pad, high + pad


class _Pen:
    """Draws in tenths of a unit, each point from the one before: the shortest way to write it."""

    def __init__(self) -> None:
        self.path: list[str] = []
        self._x = self._y = 0

    def move(self, x: float, y: float) -> None:
        self._x, self._y = round(10 * x), round(10 * y)
        self.path.append(f"M{self._x / 10:g} {self._y / 10:g}")

    def line(self, x: float, y: float) -> None:
        right, down = round(10 * x) - self._x, round(10 * y) - self._y
        self._x, self._y = self._x + right, self._y + down
        if right == 0:
            if down:
                self.path.append(f"v{down / 10:g}")
        elif down == 0:
            self.path.append(f"h{right / 10:g}")
        else:
            self.path.append(f"l{right / 10:g}{'' if down < 0 else ' '}{down / 10:g}")


def _curve(
    frame: _Frame, buckets: Sequence[Bucket], gaps: Sequence[TimeSpan], kind: str
) -> Iterator[str]:
    """Draw each unbroken time: as a line, or where steps are long as a band."""
    pen = _Pen()
    band = frame.step_ms >= BANDS_FROM_MS
    for run in _unbroken(buckets, gaps, frame.step_ms):
        (_band if band else _stroke)(frame, pen, run)
    if pen.path:
        yield f'<path class="{kind}{"band" if band else ""}" d="{"".join(pen.path)}"/>'


def _unbroken(
    buckets: Sequence[Bucket], gaps: Sequence[TimeSpan], step_ms: int
) -> Iterator[Sequence[Bucket]]:
    """Cut buckets where a gap lies between two of them; empty steps alone are no gap."""
    start, number = 0, 0
    for place in range(1, len(buckets)):
        ends_ms, next_ms = buckets[place - 1].at_ms + step_ms, buckets[place].at_ms
        while number < len(gaps) and gaps[number][1] < next_ms:
            number += 1
        if number == len(gaps) or gaps[number][0] > ends_ms:
            continue
        length_ms = gaps[number][1] - gaps[number][0]
        if next_ms > ends_ms or length_ms > step_ms:
            yield buckets[start:place]
            start = place
    if buckets:
        yield buckets[start:]


def _stroke(frame: _Frame, pen: _Pen, run: Sequence[Bucket]) -> None:
    for place, bucket in enumerate(run):
        x = frame.x(bucket.at_ms + frame.step_ms / 2)
        high, low = frame.y(bucket.high_c), frame.y(bucket.low_c)
        (pen.line if place else pen.move)(x, high)
        if low - high >= 0.5:
            pen.line(x, low)
        elif len(run) == 1:
            pen.line(x + 0.8, high)


def _band(frame: _Frame, pen: _Pen, run: Sequence[Bucket]) -> None:
    half_ms = frame.step_ms / 2
    pen.move(frame.x(run[0].at_ms), frame.y(run[0].high_c))
    for bucket in run:
        pen.line(frame.x(bucket.at_ms + half_ms), frame.y(bucket.high_c))
    pen.line(frame.x(run[-1].at_ms + frame.step_ms), frame.y(run[-1].high_c))
    pen.line(frame.x(run[-1].at_ms + frame.step_ms), frame.y(run[-1].low_c))
    for bucket in reversed(run):
        pen.line(frame.x(bucket.at_ms + half_ms), frame.y(bucket.low_c))
    pen.line(frame.x(run[0].at_ms), frame.y(run[0].low_c))
    pen.path.append("z")


def _line(frame: _Frame, celsius: float, kind: str) -> Iterator[str]:
    if frame.low_c <= celsius <= frame.high_c:
        yield f'<path class="{kind}" d="M{LEFT} {frame.y(celsius):.1f}H{RIGHT}"/>'


def _spans(
    frame: _Frame, spans: Iterable[TimeSpan], kind: str, top: float, height: float
) -> Iterator[str]:
    """Draw spans as bars; those that fall on one another are drawn as one."""
    merged: list[tuple[float, float]] = []
    for start_ms, end_ms in spans:
        left, right = frame.x(start_ms), frame.x(end_ms)
        right = max(right, left + 1.0)
        if merged and left <= merged[-1][1] + _MERGED:
            merged[-1] = (merged[-1][0], max(merged[-1][1], right))
        else:
            merged.append((left, right))
    if merged:
        bars = "".join(
            f"M{left:.1f} {top:g}H{right:.1f}v{height:g}H{left:.1f}z" for left, right in merged
        )
        yield f'<path class="{kind}" d="{bars}"/>'


def _grid(frame: _Frame, shop: Shop, course: Course) -> Iterator[str]:
    low = wording.in_scale(frame.low_c, shop.display)
    high = wording.in_scale(frame.high_c, shop.display)
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100) if (high - low) / s <= 6 or s == 100)
    value = -(-low // step) * step
    while value <= high:
        share = (high - value) / (high - low)
        at = TOP + (BOTTOM - TOP) * share
        said = f"{value + 0.0:.0f}".replace("-", "−")  # no minus before a zero
        yield f'<path class="grid" d="M{LEFT} {at:.1f}H{RIGHT}"/>'
        yield f'<text x="{LEFT - 6}" y="{at + 4:.1f}" text-anchor="end">{said}°</text>'
        value += step
    zone = ZoneInfo(shop.timezone)
    if course.to_ms - course.from_ms <= MS_PER_DAY:
        named = wording.zone_name(wording.local(course.to_ms, zone))
        yield f'<text x="0" y="{BOTTOM + 30}">{named}</text>'
    for at_ms, said in _ticks(course, zone, shop.timezone):
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
    if length_ms > MONTHS_FROM_MS:
        yield from _months(course, day, timezone)
        return
    while True:
        day += timedelta(days=1)
        at_ms = instant_ms(day, time(0), timezone)
        if at_ms > course.to_ms:
            return
        if length_ms <= 8 * MS_PER_DAY:
            yield at_ms, f"{wording.WEEKDAYS[day.weekday()]} {day.day}"
        elif day.day % 5 == 0:
            yield at_ms, _day(wording.local(at_ms, zone))


def _months(course: Course, day: date, timezone: str) -> Iterator[tuple[float, str]]:
    """Yield the first of each month, of each January where there are many years."""
    by_year = course.to_ms - course.from_ms > YEARS_FROM_MS
    while True:
        month = 1 if by_year else day.month % 12 + 1
        day = date(day.year + (month == 1), month, 1)
        at_ms = instant_ms(day, time(0), timezone)
        if at_ms > course.to_ms:
            return
        yield at_ms, str(day.year) if by_year else wording.MONTHS[month - 1][:3]


def _day(at: datetime) -> str:
    return f"{at.day} {wording.MONTHS[at.month - 1][:3]}"
