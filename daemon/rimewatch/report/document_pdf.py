"""A document on paper. Layout only: sizes and room; ``sheet`` draws."""

from dataclasses import dataclass
from typing import Final

from rimewatch.report.document import (
    Block,
    Document,
    Facts,
    Heading,
    Item,
    Listing,
    Paragraph,
    Picture,
    SmallPrint,
    Table,
    Tasks,
    Tone,
)
from rimewatch.report.inks import INKS
from rimewatch.report.sheet import BODY_PT, HEAD_PT, SMALL_PT, Sheet
from rimewatch.vocabulary import Paper


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sizes:
    """How large letters are, in points."""

    body_pt: float
    table_pt: float
    list_pt: float
    small_pt: float
    heading_pt: float
    heading_mm: float
    """Room above a heading."""


_USUAL: Final = _Sizes(
    body_pt=BODY_PT,
    table_pt=SMALL_PT,
    list_pt=BODY_PT,
    small_pt=SMALL_PT,
    heading_pt=HEAD_PT,
    heading_mm=4.0,
)
_DENSE: Final = _Sizes(
    body_pt=7.8, table_pt=6.8, list_pt=6.5, small_pt=6.3, heading_pt=9.0, heading_mm=1.8
)
_LABEL_MM: Final = 38.0
_MARK_MM: Final = 6.0


def document_pdf(document: Document, *, paper: Paper) -> bytes:
    """Return a document as PDF: the same bytes for the same document."""
    sizes = _DENSE if document.is_dense else _USUAL
    sheet = Sheet(title=document.window_title, foot=document.foot, made=document.made, paper=paper)
    _top(sheet, document, sizes)
    for block in document.blocks:
        _lay_out(sheet, block, sizes)
    return sheet.finished()


def _top(sheet: Sheet, document: Document, sizes: _Sizes) -> None:
    """Write what is read first: the verdict, or else what the document is, in large letters."""
    quiet, tone = INKS[Tone.QUIET], INKS[document.tone]
    first, rest = document.verdict[:1], " ".join(document.verdict[1:])
    sheet.text(document.shop, size_pt=sizes.small_pt, ink=quiet)
    if document.verdict_leads:
        sheet.text(document.title, size_pt=sizes.small_pt, ink=quiet)
        sheet.title("".join(first), ink=tone)
        if rest:
            sheet.text(rest, size_pt=sizes.body_pt)
    else:
        sheet.title(document.title)
    for text in document.when:
        sheet.text(text, size_pt=sizes.small_pt, ink=quiet)
    if not document.verdict_leads:
        for text in first:
            sheet.space(1.0)
            sheet.text(text, bold=True, ink=tone)
        if rest:
            sheet.text(rest, size_pt=sizes.body_pt)


def _lay_out(  # noqa: C901 - one case a kind of block
    sheet: Sheet, block: Block, sizes: _Sizes
) -> None:
    match block:
        case Heading() if block.starts_page:
            sheet.next_page()
            sheet.title(block.text)
        case Heading():
            sheet.heading(block.text, size_pt=sizes.heading_pt, above_mm=sizes.heading_mm)
        case Paragraph():
            size_pt = sizes.small_pt if block.tone is Tone.QUIET else sizes.body_pt
            sheet.text(block.text, size_pt=size_pt, bold=block.strong, ink=INKS[block.tone])
        case Facts():
            for label, value in block.rows:
                sheet.pair(label, value, size_pt=sizes.body_pt, label_mm=_LABEL_MM)
        case Listing():
            for point in block.points:
                sheet.pair(point.mark, point.text, size_pt=sizes.list_pt, label_mm=_MARK_MM)
        case Tasks():
            sheet.space(4.0)
            sheet.numbered_box(block.title, block.texts)
        case Picture():
            if block.png is not None:
                sheet.space(1.0)
                sheet.picture(block.png, ratio=block.ratio, says=block.says)
                if block.legend:
                    sheet.text(block.legend, size_pt=sizes.small_pt, ink=INKS[Tone.QUIET])
        case Item():
            _item(sheet, block, sizes)
        case Table():
            sheet.space(1.0)
            sheet.table(block.columns, block.rows, size_pt=sizes.table_pt)
        case SmallPrint():
            sheet.space(2.0)
            sheet.keep_together(10.0)
            sheet.rule()
            sheet.text(" ".join(block.texts), size_pt=sizes.small_pt, ink=INKS[Tone.QUIET])


def _item(sheet: Sheet, item: Item, sizes: _Sizes) -> None:
    png = None if item.picture is None else item.picture.png
    sheet.keep_together(12.0 if png is None else 31.0)
    sheet.rule()
    sheet.line(item.head, item.state, right_ink=INKS[item.tone])
    if item.picture is not None and png is not None:
        sheet.beside(item.lines, png, ratio=item.picture.ratio, says=item.picture.says)
    else:
        for text in item.lines:
            sheet.text(text, size_pt=sizes.body_pt)
    sheet.space(1.0)
