"""The course of a freezing hold as a picture: what was held, against which line.

Drawn as ``chart`` draws: a Figure on an Agg canvas, one at a time, the same bytes for the
same input. Time in which nothing was measured stays open.
"""

import io
from datetime import tzinfo
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.lots.record import HoldRecord
from rimewatch.report import wording
from rimewatch.report.chart import (
    AIR_INK,
    FISH_INK,
    LIMIT_INK,
    OPERATING_INK,
    TEXT_INK,
    drawing,
    local_ticks,
)
from rimewatch.vocabulary import MS_PER_H, Scale

WIDTH_PX: Final = 960
HEIGHT_PX: Final = 220
RATIO: Final = HEIGHT_PX / WIDTH_PX
_DPI: Final = 192
_POINTS: Final = 9.0
_MOST_TICKS: Final = 11


def hold_chart_png(hold: HoldRecord, zone: tzinfo, scale: Scale) -> bytes | None:
    """Return a PNG of a hold's governing temperature; None where nothing was measured.

    The option's temperature and the guarded line below it, when the count began and when
    it was complete, and each interruption as a band.

    Args:
        hold: The hold.
        zone: The shop's time zone.
        scale: How people read temperatures.
    """
    if hold.curve is None:
        return None
    with drawing():
        return _drawn(hold, zone, scale)


def _drawn(hold: HoldRecord, zone: tzinfo, scale: Scale) -> bytes:
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415 - see chart
    from matplotlib.figure import Figure  # noqa: PLC0415 - see chart
    from matplotlib.ticker import FixedLocator, MaxNLocator  # noqa: PLC0415 - see chart

    curve = hold.curve
    assert curve is not None, "asked for only where there is one"
    first_ms, last_ms = float(curve.times_ms[0]), float(curve.times_ms[-1])
    span_h = max((last_ms - first_ms) / MS_PER_H, 1.0)

    def hours(at_ms: float) -> float:
        return (at_ms - first_ms) / MS_PER_H

    figure = Figure(figsize=(WIDTH_PX / 96.0, HEIGHT_PX / 96.0), dpi=_DPI)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.055, 0.13, 0.935, 0.75))
    after = np.flatnonzero(curve.breaks_after) + 1
    x = np.insert((curve.times_ms - first_ms) / MS_PER_H, after, np.nan)
    y = np.insert(curve.values_c, after, np.nan)
    axes.plot(x, _shown(y, scale), color=FISH_INK, linewidth=1.3)
    line, guarded = wording.in_scale(curve.line_c, scale), wording.in_scale(curve.guarded_c, scale)
    axes.axhline(line, color=LIMIT_INK, linewidth=1.0, linestyle=(0, (5, 3)), label="line")
    axes.axhline(guarded, color=OPERATING_INK, linewidth=0.9, linestyle=":", label="guarded")
    for item in hold.interruptions:
        ends_ms = last_ms if item.end_ms is None else item.end_ms
        axes.axvspan(hours(item.start_ms), hours(ends_ms), color=LIMIT_INK, alpha=0.18, lw=0)
    marks = ((hold.started_ms, "count begins"), (hold.completed_ms, "complete"))
    for at_ms, text in marks:
        if at_ms is None or not first_ms <= at_ms <= last_ms:
            continue
        axes.axvline(hours(at_ms), color=AIR_INK, linewidth=0.9)
        axes.annotate(
            text,
            (hours(at_ms), 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 2),
            textcoords="offset points",
            ha="left" if hours(at_ms) < 0.8 * span_h else "right",
            va="bottom",
            fontsize=_POINTS,
            color=TEXT_INK,
        )
    at, labels = local_ticks(round(first_ms), round(last_ms), zone, _MOST_TICKS)
    axes.xaxis.set_major_locator(FixedLocator([hours(ms) for ms in at]))
    axes.set_xticklabels(labels)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}°".replace("-", "−"))
    axes.tick_params(labelsize=_POINTS, labelcolor=TEXT_INK, color=TEXT_INK, length=2.5, width=0.6)
    axes.grid(visible=True, axis="y", color=TEXT_INK, alpha=0.25, linewidth=0.5)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(TEXT_INK)
    axes.set_xlim(0.0, span_h)
    target = io.BytesIO()
    figure.savefig(target, format="png", dpi=_DPI, metadata={"Software": None})
    return target.getvalue()


def _shown(values_c: NDArray[np.float64], scale: Scale) -> NDArray[np.float64]:
    if scale is Scale.FAHRENHEIT:
        return values_c * wording.FAHRENHEIT_PER_KELVIN + wording.FAHRENHEIT_AT_ZERO_C
    return values_c
