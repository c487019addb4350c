"""A document as plain text, for a terminal, a mail or a printer. Layout only."""

import textwrap
from collections.abc import Iterator
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
)

WIDTH: Final = 96
"""Columns of a line; only a table's rows may be longer, since its cells are not broken."""
_LABEL: Final = 24
_INDENT: Final = "  "


def document_text(document: Document, *, width: int = WIDTH) -> str:
    """Return a document as text, ending in a line break; its charts are left out."""
    lines = [document.shop, *_wrapped(document.title, width)]
    for text in document.when:
        lines += _wrapped(text, width)
    verdict = document.verdict
    lines += [""] if verdict else []
    for text in [" ".join(verdict)] if document.verdict_leads else verdict:
        lines += _wrapped(text, width)
    if isinstance(document.blocks[0], Paragraph):
        lines.append("")  # else it would read on from the lines above
    for block in document.blocks:
        lines += _laid_out(block, width)
    return "\n".join(lines) + "\n"


def _laid_out(block: Block, width: int) -> Iterator[str]:  # noqa: C901 - one case a kind
    match block:
        case Heading():
            yield from _headed(block.text, width)
        case Paragraph():
            yield from _wrapped(block.text, width, _INDENT, _INDENT)
        case Facts():
            for label, value in block.rows:
                first = f"{_INDENT}{label:<{_LABEL}}"
                yield from _wrapped(value, width, first, " " * len(first))
        case Listing():
            longest = max(len(point.mark) for point in block.points)
            for point in block.points:
                first = f"{_INDENT}{point.mark:>{longest}} "
                yield from _wrapped(point.text, width, first, " " * len(first))
        case Tasks():
            yield from _headed(block.title, width)
            for count, text in enumerate(block.texts, start=1):
                yield from _wrapped(text, width, f"{count:3}. ", "     ")
        case Item():
            head = f"{block.head}: {block.state}" if block.state else block.head
            yield from _wrapped(head, width, _INDENT, _INDENT * 2)
            for text in block.lines:
                yield from _wrapped(text, width, _INDENT * 3, _INDENT * 3)
        case Table():
            yield from _rows(block)
        case SmallPrint():
            yield from ("", "-" * width)
            for text in block.texts:
                yield from _wrapped(text, width)
        case Picture():
            pass  # its figures stand in the words


def _headed(title: str, width: int) -> Iterator[str]:
    yield ""
    yield from _wrapped(title.upper(), width)


def _rows(table: Table) -> Iterator[str]:
    rows = [tuple(column.title for column in table.columns), *table.rows]
    widths = [max(map(len, cells)) for cells in zip(*rows, strict=True)]
    for row in rows:
        cells = (
            cell.rjust(wide) if column.align == "R" else cell.ljust(wide)
            for column, cell, wide in zip(table.columns, row, widths, strict=True)
        )
        yield f"{_INDENT}{'  '.join(cells)}".rstrip()


def _wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )
