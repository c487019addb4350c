"""What was refused where nobody waits for an answer: listed, told in the morning, on the record."""

from pathlib import Path

import pytest

from handmade import Paper, probe, shop, unit
from rimewatch.clock import SteppedClock
from rimewatch.entries import MoveLot
from rimewatch.evaluation.door import BooksInMemory, Refusal, check
from rimewatch.intake.entries import parse_entry
from rimewatch.journal.entering import EntryRefusedError, enter, in_words, keep_refusal
from rimewatch.journal.events import EventRow
from rimewatch.journal.journal import Journal
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import LotId, UnitId

SHOP = shop(unit(), probe(), unit("freezer-1", "freezer"))


def test_trace_with_an_entry_that_is_refused_is_replayed_to_its_end() -> None:
    """It has no effect, is listed, and the morning tells it."""
    paper = Paper().curve([(0, 1.0), (3600, 1.0)], every_s=60)
    paper.do(600, "move-lot", lot="L-9", unit="case-1")

    told = paper.replay(SHOP)

    assert ledger_document(told.ledger)["refused"] == [
        {
            "at": paper.iso(600),
            "do": "move-lot",
            "why": 'there is no lot "L-9" on the books; it has to be received first',
        }
    ]
    assert ledger_document(told.ledger)["lots"] == []
    (morning,) = told.mornings.values()
    said = " ".join(morning.text.split())
    assert "ENTRIES NOT TAKEN" in said
    assert "it has to be received first." in said


def test_ledger_lists_an_empty_list_where_nothing_was_refused() -> None:
    """Other programs need not ask whether the key is there."""
    assert Paper().say(0, 1.0).say(60, 1.0).ledger(SHOP)["refused"] == []


def test_refusal_is_kept_as_an_event_with_all_that_was_said(tmp_path: Path) -> None:
    """Words for people; the entry itself for whoever looks what became of it."""
    entry = MoveLot(at_ms=60_000, who="Ines", lot=LotId("L-9"), unit=UnitId("case-1"))
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        with journal.batch():
            keep_refusal(journal, Refusal(at_ms=60_000, do="move-lot", why="no such lot"), entry)
        (row,) = journal.events_between(0, 60_000)

    assert in_words(row) == "move-lot: no such lot"
    assert '"who": "Ines"' in row.detail
    assert in_words(EventRow(id=1, at_ms=0, what="start", detail="watching")) == "watching"


def test_of_two_who_enter_at_once_the_second_is_asked_by_what_the_first_wrote(
    tmp_path: Path,
) -> None:
    """The look and the write are one transaction."""
    said = {
        "do": "receive-lot",
        "lot": "L-1",
        "species": "Salmo salar",
        "origin": "wild",
        "serve_raw": True,
    }
    path = tmp_path / "rimewatch.db"
    with Journal.open(path) as one, Journal.open(path, check=False) as other:
        with one.batch():
            assert enter(one, SHOP, parse_entry(said, 0), "page", 0) == 1
        with pytest.raises(EntryRefusedError, match="on the books already"), other.batch():
            enter(other, SHOP, parse_entry(said, 1), "cli", 1)
        assert len(one.entries_after(0)) == 1


def test_entry_that_is_delivered_twice_is_neither_refused_nor_a_second_receipt() -> None:
    """The broker delivers at least once."""
    paper = Paper().receive(0).receive(0).say(0, 1.0).say(60, 1.0)

    ledger = paper.ledger(SHOP)

    assert ledger["refused"] == []
    assert [lot["received_again"] for lot in ledger["lots"]] == [None]


@pytest.mark.parametrize(
    ("do", "more"),
    [("move-lot", {}), ("start-freezing", {"option": "20C-24h"}), ("withdraw-lot", {})],
)
def test_nothing_is_done_with_a_lot_before_it_came_in(do: str, more: dict[str, str]) -> None:
    """Cold from before would count for it; people's clocks may be 5 min apart."""
    books = BooksInMemory()
    received = parse_entry(
        {
            "do": "receive-lot",
            "lot": "L-1",
            "species": "Salmo salar",
            "origin": "wild",
            "serve_raw": True,
        },
        3_600_000,
    )
    books.add(received)
    where = {} if do == "withdraw-lot" else {"unit": "freezer-1"}
    said = {"do": do, "lot": "L-1", **where, **more}

    early = check(parse_entry(said, 3_299_999), SHOP, books, 7_200_000)

    assert early is not None
    assert early.why == 'lot "L-1" came in at 1969-12-31 19:00, after that; say when it was done'
    assert check(parse_entry(said, 3_300_000), SHOP, books, 7_200_000) is None


def test_what_an_old_journal_holds_is_judged_and_never_refused(tmp_path: Path) -> None:
    """A second receipt that a page took once: the service starts, and the lot is not proven."""
    paper = Paper().receive(0).freeze(0, "20C-24h").receive(3600)
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        for line in paper.read():
            journal.add_entry(line.entry, "page")  # type: ignore[union-attr]
        writer = Writer(SHOP, journal, SteppedClock(paper.at_ms(7200)))
        assert len(writer.take(())) == 3
        assert len(writer.evaluator.entries) == 3
