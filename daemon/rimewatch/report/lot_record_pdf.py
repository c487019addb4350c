"""A lot's record on paper, with the curve of its hold. Layout only."""

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from rimewatch.evaluation.lot_record import LotRecord
from rimewatch.report.hold_chart import RATIO, hold_chart_png
from rimewatch.report.lot_page import LotPage
from rimewatch.report.sheet import QUIET_INK, SMALL_PT, Column, Sheet
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S

GOOD_INK = "#1f6b4f"
BAD_INK = "#a63d2a"
"""The verdict's colour says what its words say already: a black-and-white print loses nothing."""

LEGEND = (
    "Line: governing temperature. Dashed: the option’s; dotted: that less the probe’s uncertainty, "
    "which a reading must reach. Bands: interruptions."
)
_PATH = (
    Column(title="", share=22.0),
    Column(title="", share=21.0),
    Column(title="", share=21.0),
    Column(title="", share=20.0),
    Column(title="", share=14.0, align="R"),
    Column(title="", share=14.0, align="R"),
    Column(title="", share=10.0, align="R"),
)


def lot_record_pdf(shop: Shop, record: LotRecord, page: LotPage) -> bytes:
    """Return the record as PDF, on one sheet for an ordinary lot.

    Args:
        shop: Paper, zone and scale.
        record: The record, for the curve.
        page: The same in words.
    """
    zone = ZoneInfo(shop.timezone)
    sheet = Sheet(
        title=page.title,
        foot=f"{page.shop} · {page.title} · {page.made}",
        made=datetime.fromtimestamp(record.made_ms / MS_PER_S, tz=UTC),
        paper=shop.paper,
    )
    sheet.text(f"{page.shop}. {page.made}.", size_pt=SMALL_PT, ink=QUIET_INK)
    sheet.title(page.title)
    sheet.text(page.verdict[0], bold=True, ink=GOOD_INK if page.is_proven else BAD_INK)
    sheet.text(" ".join(page.verdict[1:]), size_pt=8.0)
    sheet.heading("What it is")
    _pairs(sheet, page.identity)
    if page.freezing:
        sheet.heading("Freezing for parasite destruction")
        _pairs(sheet, page.freezing)
        _pairs(sheet, [("Interruptions", " ".join(page.interruptions) or "none")])
        png = None if record.hold is None else hold_chart_png(record.hold, zone, shop.display)
        if png is not None:
            sheet.space(1.0)
            sheet.picture(png, ratio=RATIO, says=f"The hold: {page.verdict[0]}")
            sheet.text(f"°{shop.display.value}. {LEGEND}", size_pt=6.0, ink=QUIET_INK)
    if page.statements:
        sheet.heading("Statements of the supplier")
        for text in page.statements:
            sheet.text(text, size_pt=8.0)
    sheet.heading("Where it has been")
    columns = [
        Column(title=title, share=column.share, align=column.align)
        for title, column in zip(page.path_head, _PATH, strict=True)
    ]
    sheet.table(columns, page.path, size_pt=7.0)
    for text in page.after:
        sheet.text(text, size_pt=7.5)
    sheet.heading("Entries, every one, in the order they came")
    for number, done, entered, who, what in page.entries:
        late = "" if entered == "at once" else f", entered {entered}"
        sheet.text(f"{number}.  {what} ({done}, by {who}{late})", size_pt=6.5)
    sheet.space(1.5)
    sheet.rule()
    sheet.text(" ".join(page.cautions), size_pt=7.0, ink=QUIET_INK)
    return sheet.finished()


def _pairs(sheet: Sheet, pairs: Sequence[tuple[str, str]]) -> None:
    for label, value in pairs:
        sheet.pair(label, value, size_pt=8.0, label_mm=38.0)
