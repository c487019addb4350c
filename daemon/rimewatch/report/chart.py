"""A unit's night as a picture: air and fish, the limits, doors, defrosts and gaps.

Drawn with a Figure on an Agg canvas, never with pyplot, which keeps every figure it
ever made. Gaps stay open: no line is drawn through time in which nothing was measured.
Strokes differ as well as colours, so that a print in black and white can be read; the
ground is transparent and the inks are of middle tone, for light and dark mail alike.

Not for several threads at once: one lock serialises the drawing. matplotlib is
imported when the first chart is drawn. Its first import builds a font cache in
``MPLCONFIGDIR``, which must be writable.
"""

import io
import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.report import wording
from rimewatch.report.curve import Curve, Span
from rimewatch.shop import Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, MS_PER_MINUTE, MS_PER_S, Scale

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FISH_INK: Final = "#2390a6"
AIR_INK: Final = "#7f9099"
LIMIT_INK: Final = "#c2543d"
OPERATING_INK: Final = "#b98a2f"
TEXT_INK: Final = "#737d85"
DOOR_INK: Final = "#b98a2f"
DEFROST_INK: Final = "#6f8fc9"

_LOCK = threading.Lock()
_COLOURS: Final = 32
_TICK_STEPS_H: Final = (1, 2, 3, 4, 6, 12, 24)


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """A picture's size in CSS pixels at ``density`` image pixels each."""

    width: int
    height: int
    density: float
    text_px: float
    most_ticks: int
    legend: bool


SMALL: Final = Size(width=320, height=104, density=2.0, text_px=10.5, most_ticks=5, legend=False)
"""One of a column in a mail, sharp on a phone."""
FULL: Final = Size(width=720, height=315, density=2.0, text_px=12.5, most_ticks=13, legend=True)
"""A page of its own, for a record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """The time shown, and how people read it."""

    from_ms: int
    to_ms: int
    zone: tzinfo
    scale: Scale


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """The limits that are drawn."""

    limit_c: float
    operating_limit_c: float | None = None


def unit_chart_png(
    unit: Unit | Lines,
    curve: Curve,
    view: View,
    *,
    gaps: Sequence[Span] = (),
    line_c: float | None = None,
    break_s: float | None = None,
    size: Size = SMALL,
) -> bytes:
    """Return a PNG of one unit's temperatures.

    Args:
        unit: Its limits are drawn.
        curve: What was measured; its NaN stay open.
        view: Time span, zone and scale.
        gaps: Unmonitored time, shown as a hatched band.
        line_c: The limit to be drawn; None: the unit's own.
        break_s: Neighbouring points further apart than this are not joined.
        size: ``SMALL`` or ``FULL``.

    Returns:
        The same bytes for the same input, with no date and no program's name inside.
    """
    limit_c = unit.limit_c if line_c is None else line_c
    lines = Lines(limit_c=limit_c, operating_limit_c=unit.operating_limit_c)
    with drawing():
        return _draw(lines, curve, view, gaps, break_s, size)


@contextmanager
def drawing() -> Iterator[None]:
    """Let one thread draw at a time, with settings of its own whatever this machine's are."""
    with _LOCK:
        import matplotlib as mpl  # noqa: PLC0415 - a fifth of a second, only when drawn

        with mpl.rc_context():
            mpl.rcdefaults()  # whatever this machine's settings are
            mpl.rcParams.update(
                {
                    "font.family": ["DejaVu Sans"],  # comes with matplotlib: the same everywhere
                    "svg.hashsalt": "rimewatch",
                    "path.simplify": True,
                    "path.simplify_threshold": 0.2,
                    "text.hinting": "default",
                    "text.usetex": False,
                    "agg.path.chunksize": 0,
                    "figure.autolayout": False,
                    "figure.constrained_layout.use": False,
                    "savefig.bbox": None,
                    "hatch.linewidth": 0.6,
                }
            )
            yield


def _draw(
    lines: Lines,
    curve: Curve,
    view: View,
    gaps: Sequence[Span],
    break_s: float | None,
    size: Size,
) -> bytes:
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415 - see above
    from matplotlib.figure import Figure  # noqa: PLC0415 - see above

    dpi = 96.0 * size.density
    figure = Figure(figsize=(size.width / 96.0, size.height / 96.0), dpi=dpi)
    figure.patch.set_alpha(0.0)
    canvas = FigureCanvasAgg(figure)
    left, right = (
        3.4 * size.text_px / size.width,
        1.0 - (1.7 if size.legend else 0.9) * size.text_px / size.width,
    )
    bottom = 1.8 * size.text_px / size.height
    top = 1.0 - (2.2 if size.legend else 0.7) * size.text_px / size.height
    axes = figure.add_axes((left, bottom, right - left, top - bottom))
    axes.patch.set_alpha(0.0)
    hours, measured_c, governing_c = _broken(curve, view, break_s)
    _bands(axes, curve, view, gaps)
    points = size.text_px * 0.75
    measured = _shown(measured_c, view.scale)
    governing = _shown(governing_c, view.scale)
    if not np.array_equal(measured, governing, equal_nan=True):
        axes.plot(hours, measured, color=AIR_INK, linewidth=0.8, label="air", zorder=3)
    axes.plot(hours, governing, color=FISH_INK, linewidth=1.7, label="fish", zorder=4)
    lowest, highest = _limits(axes, lines, view, measured, governing)
    _ticks(axes, view, size, points)
    if view.to_ms - view.from_ms <= 48 * MS_PER_H:  # its ticks are hours: by whose clock
        zone = wording.zone_name(wording.local(view.to_ms, view.zone))
        place = 0.1 * size.text_px / size.width, bottom - 0.4 * size.text_px / size.height
        figure.text(*place, zone, fontsize=points, color=TEXT_INK, verticalalignment="top")
    axes.set_xlim(0.0, (view.to_ms - view.from_ms) / MS_PER_H)
    axes.set_ylim(lowest, highest)
    if size.legend:
        axes.legend(
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            ncols=7,
            frameon=False,
            fontsize=points,
            labelcolor=TEXT_INK,
            borderaxespad=0.2,
            handlelength=1.6,
            columnspacing=1.4,
        )
    raw = io.BytesIO()
    figure.savefig(raw, format="rgba", dpi=dpi)
    width, height = canvas.get_width_height()
    pixels = np.frombuffer(raw.getvalue(), dtype=np.uint8)
    return _png(pixels.reshape(height, width, 4))


def _png(pixels: NDArray[np.uint8]) -> bytes:
    """Return the picture with a palette, a quarter of its size; no text chunks, no date."""
    from PIL import Image  # noqa: PLC0415 - see above

    image = Image.fromarray(pixels).quantize(
        _COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
    )
    target = io.BytesIO()
    # Level 6: at the highest one a picture takes a fifth longer and is a sixteenth smaller.
    image.save(target, format="png", compress_level=6)
    return target.getvalue()


def _broken(
    curve: Curve, view: View, break_s: float | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return hours since the start and both temperatures, NaN between what must not be joined."""
    hours = (curve.times_ms - view.from_ms) / MS_PER_H
    if break_s is None or len(hours) < 2:
        return hours, curve.measured_c, curve.governing_c
    apart = np.flatnonzero(np.diff(curve.times_ms) > break_s * MS_PER_S) + 1
    return (
        np.insert(hours, apart, hours[apart - 1]),
        np.insert(curve.measured_c, apart, np.nan),
        np.insert(curve.governing_c, apart, np.nan),
    )


def _shown(celsius: NDArray[np.float64], scale: Scale) -> NDArray[np.float64]:
    zero = wording.in_scale(0.0, scale)
    return celsius * (wording.in_scale(1.0, scale) - zero) + zero


def _limits(
    axes: "Axes",
    lines: Lines,
    view: View,
    measured: NDArray[np.float64],
    governing: NDArray[np.float64],
) -> tuple[float, float]:
    """Draw the limits; return the span of the temperature axis: curve and limits, with air."""
    limit = wording.in_scale(lines.limit_c, view.scale)
    axes.axhline(
        limit, color=LIMIT_INK, linewidth=1.0, linestyle=(0, (5, 2.5)), label="limit", zorder=2
    )
    values = [limit]
    if lines.operating_limit_c is not None:
        operating = wording.in_scale(lines.operating_limit_c, view.scale)
        values.append(operating)
        axes.axhline(
            operating,
            color=OPERATING_INK,
            linewidth=0.8,
            linestyle=(0, (1, 2)),
            label="operating limit",
            zorder=2,
        )
    for curve in (measured, governing):
        finite = curve[np.isfinite(curve)]
        if finite.size:
            values += [float(finite.min()), float(finite.max())]
    least = wording.difference_in_scale(4.0, view.scale)
    spare = max(least - (max(values) - min(values)), 0.0) / 2
    room = 0.08 * max(max(values) - min(values), least)
    return min(values) - spare - room, max(values) + spare + room


def _bands(axes: "Axes", curve: Curve, view: View, gaps: Sequence[Span]) -> None:
    def hours(at_ms: int) -> float:
        return (min(max(at_ms, view.from_ms), view.to_ms) - view.from_ms) / MS_PER_H

    kinds: tuple[tuple[str, Sequence[Span], dict[str, Any]], ...] = (
        ("defrost", curve.defrosts, {"color": DEFROST_INK, "alpha": 0.22, "linewidth": 0}),
        ("door open", curve.doors, {"color": DOOR_INK, "alpha": 0.6, "linewidth": 0}),
        (
            "unmonitored",
            gaps,
            {"facecolor": "none", "edgecolor": TEXT_INK, "hatch": "////", "linewidth": 0.0},
        ),
    )
    for name, spans, style in kinds:
        label: str | None = name
        for start_ms, end_ms in spans:
            if end_ms < view.from_ms or start_ms > view.to_ms:
                continue
            axes.axvspan(hours(start_ms), hours(end_ms), zorder=1, label=label, **style)
            label = None


def _ticks(axes: "Axes", view: View, size: Size, points: float) -> None:
    from matplotlib.ticker import FixedLocator, MaxNLocator  # noqa: PLC0415 - see above

    at, labels = local_ticks(view.from_ms, view.to_ms, view.zone, size.most_ticks)
    axes.xaxis.set_major_locator(FixedLocator([(ms - view.from_ms) / MS_PER_H for ms in at]))
    axes.set_xticklabels(labels)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=4, steps=[1, 2, 4, 5, 10], min_n_ticks=3))
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}°".replace("-", "−"))
    axes.tick_params(
        labelsize=points, labelcolor=TEXT_INK, color=TEXT_INK, length=2.5, width=0.6, pad=2.5
    )
    axes.grid(visible=True, axis="y", color=TEXT_INK, alpha=0.25, linewidth=0.5)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(TEXT_INK)
    axes.spines["bottom"].set_linewidth(0.6)


def local_ticks(
    from_ms: int, to_ms: int, zone: tzinfo, most: int
) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Return instants at round local hours and their labels, at most ``most`` of them.

    The axis is elapsed time, so on a night of a clock change the labels jump or repeat,
    as the clock did.
    """
    quarter = MS_PER_H // 4  # every zone in use is off UTC by whole quarters of an hour
    first = -(-from_ms // quarter) * quarter
    if to_ms - from_ms > (most + 2) * MS_PER_DAY:
        # There are more midnights than ticks: no other hour is going to be shown.
        candidates: Iterable[int] = _around_midnights(first, to_ms, zone)
    else:
        candidates = range(first, to_ms + 1, quarter)
    full = [(ms, at) for ms in candidates if (at := wording.local(ms, zone)).minute == 0]
    for step in _TICK_STEPS_H:
        chosen = [(ms, at) for ms, at in full if at.hour % step == 0]
        if len(chosen) <= most:
            break
    else:  # longer than a handful of days: midnights, thinned out
        chosen = chosen[:: -(-len(chosen) // most)]
    return tuple(ms for ms, _ in chosen), tuple(_label(at, to_ms - from_ms) for _, at in chosen)


def _around_midnights(first_ms: int, to_ms: int, zone: tzinfo) -> Iterator[int]:
    """Yield the quarters of an hour that may be local midnights: those within two hours of one.

    Args:
        first_ms: A quarter of an hour.
        to_ms: The last instant that may be yielded.
        zone: Whose midnights.
    """
    quarter = MS_PER_H // 4
    reach_ms = 2 * MS_PER_H  # a change of the clock moves the next midnight by no more
    at_ms = first_ms
    while at_ms <= to_ms:
        at = wording.local(at_ms, zone)
        past_ms = (at.hour * 60 + at.minute) * MS_PER_MINUTE
        if reach_ms < past_ms < MS_PER_DAY - reach_ms:
            at_ms += MS_PER_DAY - reach_ms - past_ms
        else:
            yield at_ms
            at_ms += quarter


def _label(at: datetime, length_ms: int) -> str:
    if length_ms <= 48 * MS_PER_H or at.hour != 0:
        return f"{at:%H:%M}"
    if length_ms <= 14 * MS_PER_DAY:
        return f"{wording.WEEKDAYS[at.weekday()]} {at.day}"
    return f"{at.day} {wording.MONTHS[at.month - 1][:3]}"
