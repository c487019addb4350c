"""The summary as a mail: one HTML file that needs nothing else.

Layout only: every sentence comes from ``page``. Tables and inline styles, because mail
programs know little else; no scripts, no links, nothing fetched; charts are small PNG
pictures inside the file, and each says in words what it shows.
"""

import base64
from typing import Final

from rimewatch.report import chart
from rimewatch.report.facts import State, Summary
from rimewatch.report.page import UnitBlock, page
from rimewatch.report.templating import template

INKS: Final = {
    State.HELD: "#1f7a5c",
    State.NOT_PROVEN: "#8a6412",
    State.WARM: "#b23f28",
    State.UNWATCHED: "#8a6412",
    State.OUT_OF_SERVICE: "#5b686e",
}
"""A word in this colour, which also stands there in words."""


def summary_html(summary: Summary) -> str:
    """Return the summary as one HTML document: the same text for the same summary."""
    seen = page(summary)
    charts = {block.facts.unit.id: _chart(summary, block) for block in seen.units}
    return template("summary.html").render(page=seen, charts=charts, inks=INKS) + "\n"


def _chart(summary: Summary, block: UnitBlock) -> str | None:
    """Return a unit's chart as a data address, or None where it has no curve."""
    curve = block.facts.curve
    if curve is None or not len(curve.times_ms):
        return None
    png = chart.unit_chart_png(
        block.facts.unit,
        curve,
        chart.View(
            from_ms=summary.period.from_ms,
            to_ms=summary.period.to_ms,
            zone=summary.zone,
            scale=summary.scale,
        ),
        gaps=block.facts.gaps,
        break_s=block.facts.stale_s,
    )
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"
