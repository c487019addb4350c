"""The summary as a mail: one HTML file that needs nothing else.

Layout only: every sentence comes from ``page``. Tables and inline styles, because mail
programs know little else; no scripts, no links, nothing fetched; charts are small PNG
pictures inside the file, and each says in words what it shows.
"""

from typing import Final

from markupsafe import Markup

from rimewatch.report.chart import Lines
from rimewatch.report.facts import State, Summary
from rimewatch.report.html_draft import HtmlDraft, UnitChart
from rimewatch.report.page import Page, UnitBlock, page
from rimewatch.report.templating import template
from rimewatch.vocabulary import UnitId

INKS: Final = {
    State.HELD: "#1f7a5c",
    State.NOT_PROVEN: "#8a6412",
    State.WARM: "#b23f28",
    State.UNWATCHED: "#8a6412",
    State.OUT_OF_SERVICE: "#5b686e",
}
"""A word in this colour, which also stands there in words."""

_PLACE: Final = Markup("<chart>")
"""Where a picture's address belongs. No name and no note can hold it: theirs are escaped."""


def html_draft(summary: Summary) -> HtmlDraft:
    """Return the summary as an HTML document whose charts are still to be drawn."""
    seen = page(summary)
    charts = {block.facts.unit.id: _chart(block) for block in seen.units}
    places = {unit: None if one is None else _PLACE for unit, one in charts.items()}
    return HtmlDraft(
        pieces=tuple(_rendered(seen, places).split(_PLACE)),
        charts=tuple(one for one in charts.values() if one is not None),
        from_ms=summary.period.from_ms,
        to_ms=summary.period.to_ms,
        zone=summary.zone,
        scale=summary.scale,
    )


def html_without_charts(summary: Summary) -> str:
    """Return the summary as one HTML document of words alone."""
    seen = page(summary)
    return _rendered(seen, {block.facts.unit.id: None for block in seen.units})


def _rendered(seen: Page, charts: dict[UnitId, Markup | None]) -> str:
    return template("summary.html").render(page=seen, charts=charts, inks=INKS) + "\n"


def _chart(block: UnitBlock) -> UnitChart | None:
    """Return what a unit's chart shows, or None where it has no curve."""
    facts = block.facts
    if facts.curve is None or not len(facts.curve.times_ms):
        return None
    unit = facts.unit
    return UnitChart(
        lines=Lines(limit_c=unit.limit_c, operating_limit_c=unit.operating_limit_c),
        curve=facts.curve,
        gaps=facts.account.gaps,
        break_s=facts.stale_s,
    )
