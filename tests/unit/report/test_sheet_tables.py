"""Tables on paper: nothing of a record is cut, however long a cell is."""

import io
from collections.abc import Sequence
from datetime import UTC, datetime

import pytest
from pypdf import PdfReader

from rimewatch.report.document import Column
from rimewatch.report.sheet import Sheet
from rimewatch.vocabulary import Paper

COLUMNS = (
    Column(title="When", share=1.3),
    Column(title="What", share=1.7),
    Column(title="Detail", share=4.5),
)


def printed(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return the text of each page of a table."""
    made = datetime(2026, 3, 2, tzinfo=UTC)
    sheet = Sheet(title="Record", foot="Record", made=made, paper=Paper.LETTER)
    sheet.table(COLUMNS, rows)
    return [page.extract_text() for page in PdfReader(io.BytesIO(sheet.finished())).pages]


@pytest.mark.parametrize(
    "detail",
    [
        " ".join(f"word{n}" for n in range(200)),
        "/" + "/".join(f"folder{n}" for n in range(60)),
        "0123456789abcdef" * 40,
    ],
    ids=["sentence", "path", "one long word"],
)
def test_long_cell_goes_on_in_further_lines_and_loses_nothing(detail: str) -> None:
    """Whether it has spaces or not; what stands beside and below it stays."""
    (page,) = printed(
        [("2026-03-02 05:00", "started", detail), ("2026-03-02 06:00", "stopped", "")]
    )

    assert "…" not in page
    told = "".join(page.split())
    assert "".join(detail.split()) in told
    assert told.index("2026-03-0205:00") < told.index("started") < told.index("2026-03-0206:00")


def test_row_of_several_lines_is_not_parted_and_the_head_comes_again() -> None:
    """A reader of the second page knows what the columns are, and needs not turn back."""
    rows = [(f"row{n}", "what", f"first{n} {'and so on ' * 20} last{n}") for n in range(60)]
    pages = [page.split() for page in printed(rows)]

    assert len(pages) > 1
    for n in range(60):
        holding = [page for page in pages if f"first{n}" in page]
        assert len(holding) == 1
        assert {f"row{n}", f"last{n}"} <= set(holding[0])
    assert all("When" in page for page in pages)


def test_row_longer_than_a_page_goes_on_on_the_next() -> None:
    """It is long, and it is all there."""
    words = [f"word{n}" for n in range(3000)]
    pages = printed([("2026-03-02 05:00", "started", " ".join(words))])

    assert len(pages) > 1
    told = " ".join(pages).split()
    assert [word for word in told if word.startswith("word")] == words
