"""The morning summary as a document, from its sentences, for every way of laying it out. Pure."""

import base64
import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final

from rimewatch.report import chart, wording
from rimewatch.report.document import (
    Block,
    Document,
    Heading,
    Item,
    Paragraph,
    Picture,
    SmallPrint,
    Tasks,
    Tone,
)
from rimewatch.report.document_html import document_html, html_pieces
from rimewatch.report.document_text import document_text
from rimewatch.report.facts import State, Summary, UnitFacts
from rimewatch.report.html_draft import HtmlDraft, UnitChart
from rimewatch.report.page import Page, UnitBlock, page

LEGEND: Final = (
    "Thick line: fish. Thin line: air, where it is measured apart. Dashed: limit; dotted: "
    "operating limit. Wide band: defrost; narrow band: door open; hatched: unmonitored."
)
TONES: Final = {
    State.HELD: Tone.GOOD,
    State.NOT_PROVEN: Tone.DOUBTFUL,
    State.WARM: Tone.BAD,
    State.UNWATCHED: Tone.DOUBTFUL,
    State.OUT_OF_SERVICE: Tone.QUIET,
}
FILE_WIDTH: Final = 76
"""Columns of the text file: a mail of plain text is not broken anew (RFC 5322, 2.1.1: 78)."""
_RATIO: Final = chart.SMALL.height / chart.SMALL.width
_CHART: Final = re.compile(r'src="data:image/png;base64,([A-Za-z0-9+/=]+)"')


def summary_document(
    seen: Page, charts: Sequence[bytes | None], *, made: datetime, seal: str = ""
) -> Document:
    """Return a morning's summary as a document.

    Args:
        seen: Its sentences.
        charts: One for each unit that has a chart, in their order; None: to be drawn.
        made: The morning, an aware time.
        seal: A line with the seal of the day before.
    """
    return Document(
        shop=seen.shop,
        title=seen.night,
        when=(seen.period, seen.clock_note) if seen.clock_note else (seen.period,),
        verdict=seen.verdict,
        tone=TONES[seen.state],
        verdict_leads=True,
        blocks=tuple(_blocks(seen, charts, seal)),
        made=made,
    )


def _blocks(seen: Page, charts: Sequence[bytes | None], seal: str) -> Iterator[Block]:
    if seen.todos:
        yield Tasks(title=seen.todos_title, texts=seen.todos)
    yield Heading(text="Units")
    waiting = iter(charts)
    for block in seen.units:
        yield Item(
            head=block.name,
            state=block.state_word,
            tone=TONES[block.state],
            lines=(f"{block.range} ({block.limit}).", *block.lines),
            picture=_picture(block, next(waiting, None)) if block.has_chart else None,
        )
    if charts:
        yield Paragraph(text=LEGEND, tone=Tone.QUIET)
    for section in seen.sections:
        yield Heading(text=section.title)
        for item in section.items:
            yield Item(head=item.head, lines=item.lines)
    yield SmallPrint(texts=(*seen.cautions, seal) if seal else seen.cautions, takes_seal=not seal)


def _picture(block: UnitBlock, png: bytes | None) -> Picture:
    return Picture(png=png, ratio=_RATIO, says=f"{block.name}: {block.range}, {block.limit}.")


def kept_charts(html: str) -> list[bytes]:
    """Return the charts that a kept page holds, in their order."""
    return [base64.b64decode(found) for found in _CHART.findall(html)]


def file_text(summary: Summary) -> str:
    """Return the whole summary as plain text, lines of at most 76 characters."""
    return document_text(_document(summary, ()), width=FILE_WIDTH)


def html_without_charts(summary: Summary) -> str:
    """Return the summary as one HTML document of words alone."""
    return document_html(_document(summary, ()))


def html_draft(summary: Summary) -> HtmlDraft:
    """Return the summary as an HTML document whose charts are still to be drawn."""
    charts = tuple(_chart(facts) for facts in summary.units if facts.has_chart)
    return HtmlDraft(
        pieces=html_pieces(_document(summary, [None] * len(charts))),
        charts=charts,
        from_ms=summary.period.from_ms,
        to_ms=summary.period.to_ms,
        zone=summary.zone,
        scale=summary.scale,
    )


def _document(summary: Summary, charts: Sequence[None]) -> Document:
    made = wording.local(summary.period.to_ms, summary.zone)
    return summary_document(page(summary), charts, made=made)


def _chart(facts: UnitFacts) -> UnitChart:
    """Return what a unit's chart shows."""
    assert facts.curve is not None, "asked for only where there is one"
    unit = facts.unit
    return UnitChart(
        lines=chart.Lines(limit_c=unit.limit_c, operating_limit_c=unit.operating_limit_c),
        curve=facts.curve,
        gaps=facts.account.gaps,
        break_s=facts.stale_s,
    )
