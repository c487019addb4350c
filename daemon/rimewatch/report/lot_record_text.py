"""A lot's record as plain text, for a terminal, a mail or a printer. Layout only."""

import textwrap
from collections.abc import Iterator, Sequence

from rimewatch.report.lot_page import LotPage

WIDTH = 96
_LABEL = 24


def lot_record_text(page: LotPage) -> str:
    """Return the record as text, at most 96 characters wide but for what cannot be broken."""
    return "\n".join(_lines(page)) + "\n"


def _lines(page: LotPage) -> Iterator[str]:
    yield page.shop
    yield page.title
    yield page.made
    yield ""
    for sentence in page.verdict:
        yield from textwrap.wrap(sentence, WIDTH)
    yield from _pairs("What it is", page.identity)
    if page.freezing:
        yield from _pairs("Freezing for parasite destruction", page.freezing)
        yield from _list("Interruptions", page.interruptions or ("None.",))
    if page.statements:
        yield from _list("Statements of the supplier", page.statements)
    yield from _table("Where it has been", page.path_head, page.path)
    yield from _list("After that", page.after)
    yield from _entries(page)
    yield ""
    for caution in page.cautions:
        yield from textwrap.wrap(caution, WIDTH)


def _head(title: str) -> Iterator[str]:
    yield ""
    yield title
    yield "-" * len(title)


def _pairs(title: str, pairs: Sequence[tuple[str, str]]) -> Iterator[str]:
    yield from _head(title)
    for label, value in pairs:
        yield from textwrap.wrap(
            value,
            WIDTH,
            initial_indent=f"{label:<{_LABEL}}",
            subsequent_indent=" " * _LABEL,
            break_on_hyphens=False,
        )


def _list(title: str, items: Sequence[str]) -> Iterator[str]:
    yield from _head(title)
    for item in items:
        yield from textwrap.wrap(
            item, WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False
        )


def _table(title: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    yield from _head(title)
    widths = [max(len(row[n]) for row in (head, *rows)) for n in range(len(head))]
    for row in (head, *rows):
        yield "  ".join(
            f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)
        ).rstrip()


def _entries(page: LotPage) -> Iterator[str]:
    yield from _head("Entries, every one, in the order they came")
    for number, done, entered, who, what in page.entries:
        late = "" if entered == "at once" else f", entered {entered}"
        yield from textwrap.wrap(
            f"{what} ({done}, by {who}{late})",
            WIDTH,
            initial_indent=f"{number:>4}. ",
            subsequent_indent=" " * 6,
            break_on_hyphens=False,
        )
