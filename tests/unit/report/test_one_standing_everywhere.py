"""Equal evidence, equal words: lots of every standing, every surface held to the others."""

import csv
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from handmade import probe, unit
from page_visitor import pages_of, publish
from rimewatch.clock import SteppedClock, SystemClock
from rimewatch.commands.lot import command as lot_command
from rimewatch.config import read_shop
from rimewatch.entries import AnyEntry
from rimewatch.evaluation.describe import described
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.ledger import Account, build_ledger
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.lot_story import tell
from rimewatch.intake.arrivals import Arrived
from rimewatch.intake.entries import parse_entry
from rimewatch.journal.journal import Journal
from rimewatch.mirror.points import lot_points
from rimewatch.report.ledger_json import ledger_document
from rimewatch.report.lot_standing import LotWords, lot_words
from rimewatch.report.message import alarm_message
from rimewatch.report.summary import build_summary
from rimewatch.report.summary_document import file_text
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.service.records import record_from_file
from rimewatch.service.resume import resume
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop
from rimewatch.vocabulary import About, LotId, Rule, Standing, UnitId

HOURS = 30
EVERY_MS = 600_000
HEAD = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "UTC"
display = "C"
[broker]
url = "mqtt://127.0.0.1:1883"
"""
STANDINGS = {
    "L-proven": Standing.PROVEN,
    "L-doubt": Standing.DOUBT,
    "L-unproven": Standing.UNPROVEN,
    "L-counter": Standing.UNPROVEN,
    "L-warm": Standing.AGAINST,
    "L-toxic": Standing.AGAINST,
    "L-gone": Standing.AGAINST,
}
LOTS = {
    "L-proven": ("Thunnus obesus", "walk-in"),
    "L-doubt": ("Thunnus obesus", "silent"),
    "L-unproven": ("Oncorhynchus nerka", "walk-in"),
    "L-counter": ("Oncorhynchus nerka", "case-1"),
    "L-warm": ("Thunnus obesus", "warm"),
    "L-toxic": ("Anguilla japonica", "walk-in"),
    "L-gone": ("Thunnus obesus", "walk-in"),
}
AT_C = {"walk-in": 1.0, "silent": 1.0, "warm": 9.0, "case-1": 1.5}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A shop whose journal the service's own writer filled, until now."""

    folder: Path
    shop: Shop
    from_ms: int
    now_ms: int
    evaluator: Evaluator
    journal: Journal

    def words(self) -> dict[str, LotWords]:
        """Return what is said of each lot, from the one value."""
        histories = self.evaluator.histories()
        return {
            str(lot): lot_words(
                self.shop, tell(self.shop, self.journal, histories, entries, self.now_ms)
            )
            for lot, entries in book(self.evaluator.entries).items()
        }

    def run(self, *words: str) -> str:
        """Return what ``rimewatch lot`` prints."""
        where = ["--config", str(self.folder / "shop.toml"), "--journal"]
        result = CliRunner().invoke(
            lot_command, [*words, *where, str(self.journal.path)], catch_exceptions=False
        )
        assert result.exit_code == 0, result.output
        return result.output


def entries_of(from_ms: int) -> Iterator[AnyEntry]:
    """Yield what was entered of the lots."""
    by = {"who": "Ines"}
    for lot, (species, where) in LOTS.items():
        what = {"lot": lot, "species": species, "origin": "wild", "serve_raw": True}
        yield parse_entry({"do": "receive-lot", **what, "celsius": 1.0, **by}, from_ms)
        yield parse_entry({"do": "move-lot", "lot": lot, "unit": where, **by}, from_ms)
    thrown = {"unit": "walk-in", "text": "dropped", "disposition": "discarded", "lots": ["L-gone"]}
    yield parse_entry({"do": "corrective-action", **thrown, **by}, from_ms + 3_600_000)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kept]:
    """Give the shop; one unit was silent for three hours, another warm all the time."""
    folder = tmp_path_factory.mktemp("standing")
    kinds = {"walk-in": "walk-in", "silent": "walk-in", "warm": "walk-in", "case-1": "display-case"}
    tables = [unit(name, kind) for name, kind in kinds.items()]
    tables += [probe(f"p-{name}", name, every_s=600, stale_s=1900) for name in kinds]
    (folder / "shop.toml").write_text(HEAD + "\n".join(tables), encoding="utf-8")
    shop = read_shop(folder / "shop.toml", {}, sends=False)
    now_ms = SystemClock().now_ms()
    from_ms = now_ms - HOURS * 3_600_000
    items = [
        Arrived(f"p-{name}", f"{at_c:.1f}".encode(), at_ms, False, 0, 1, 1)
        for at_ms in range(from_ms, now_ms, EVERY_MS)
        for name, at_c in AT_C.items()
        if name != "silent" or not 5 < (at_ms - from_ms) / 3_600_000 < 8
    ]
    with Journal.open(folder / "rimewatch.db") as journal:
        clock = SteppedClock(from_ms)
        writer = Writer(shop, journal, clock)
        clock.move_to(now_ms)
        writer.take(items)
        for entry in entries_of(from_ms):
            journal.add_entry(entry, "test")
        writer.take(())
        yield Kept(
            folder=folder, shop=shop, from_ms=from_ms, now_ms=now_ms,
            evaluator=resume(shop, journal, now_ms).evaluator, journal=journal,
        )  # fmt: skip


def test_lots_stand_as_they_were_made_to(kept: Kept) -> None:
    """Each standing is among them."""
    found = {lot: words.standing for lot, words in kept.words().items()}

    assert found == STANDINGS
    assert set(found.values()) == set(Standing)


def test_ledger_mirror_and_answers_to_programs_have_the_same(kept: Kept) -> None:
    """Standing, against and doubts, by the same names."""
    account = Account(entries=kept.evaluator.entries, batteries={})
    ledger = build_ledger(kept.shop, kept.journal, account, from_ms=kept.from_ms, to_ms=kept.now_ms)
    in_ledger = {lot["lot"]: lot for lot in ledger_document(ledger)["lots"]}
    listed = {lot["lot"]: lot for lot in json.loads(kept.run("list", "--json"))}
    received = {LotId(lot): kept.from_ms for lot in LOTS}
    mirrored = {
        point["tags"]["lot"]: point["fields"] for point in lot_points("s", ledger, received)
    }

    for lot, words in kept.words().items():
        record = json.loads(kept.run("record", lot, "--format", "json"))
        for found in (in_ledger[lot], listed[lot], record):
            for key in ("standing", "against", "doubts", "lacks"):
                assert found[key] == in_ledger[lot][key], (lot, key)
        assert listed[lot]["verdict"] == words.verdict
        assert mirrored[lot]["standing"] == words.standing.value == in_ledger[lot]["standing"]
        assert mirrored[lot].get("against", "") == ",".join(in_ledger[lot]["against"])
        assert mirrored[lot].get("doubts", "") == ",".join(in_ledger[lot]["doubts"])


def test_lists_pages_and_records_for_people_say_the_same_words(kept: Kept) -> None:
    """The verdict and each caveat, wherever a lot is shown; a check mark on the proven alone."""
    clock = SteppedClock(kept.now_ms)
    pages = pages_of(kept.shop, kept.journal.path, clock)
    publish(pages, kept.shop, kept.journal)
    client = pages.signed_in()
    lots_page = client.get("/lots").text
    answers = {lot["lot"]: lot for lot in client.get("/api/lots").json()["lots"]}
    listed = {line.split()[0]: line for line in kept.run("list").splitlines()}

    for lot, words in kept.words().items():
        page = client.get(f"/lot?lot={lot}").text
        card = re.findall(r"<article.*?</article>", lots_page, re.DOTALL)[list(LOTS).index(lot)]
        text = kept.run("record", lot)
        for shown in (page, card):
            assert f'data-standing="{words.standing.value}"' in shown
            assert ("#s-held" in shown.split("<form")[0]) == words.is_proven or shown is page
            assert words.verdict in unescape(shown)
        assert answers[lot]["standing"] == words.standing.value
        assert words.verdict in " ".join(text.split())
        assert words.verdict[1:] in listed[lot]
        for said in words.caveats:
            assert said in unescape(page)
            assert said in unescape(card)
            assert said in answers[lot]["caveats"]
            assert said[1:].rstrip(".") in listed[lot]


def test_records_of_a_period_say_the_same(kept: Kept) -> None:
    """As table and on paper."""
    first = datetime.fromtimestamp(kept.from_ms / 1000, tz=UTC).date()
    last = first + timedelta(days=1)
    tables = record_from_file(kept.shop, kept.journal.path, first, last, "csv", kept.now_ms)
    (table,) = (str(text) for name, text in tables.items() if name.endswith("/lots.csv"))
    rows = {row["lot"]: row for row in csv.DictReader(io.StringIO(table.removeprefix("\ufeff")))}
    paper = record_from_file(kept.shop, kept.journal.path, first, last, "pdf", kept.now_ms)
    (pdf,) = (content for content in paper.values() if isinstance(content, bytes))
    text = " ".join(" ".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages).split())

    stood = {lot: words for lot, words in kept.words().items() if lot in rows}
    assert set(stood) == set(LOTS)
    for lot, words in stood.items():
        assert rows[lot]["standing"] == words.standing.value
        assert rows[lot]["verdict"] == words.verdict
        assert f"Lot {lot}: {words.verdict}." in text


def test_morning_and_its_tasks_say_the_same(kept: Kept) -> None:
    """The summary has each verdict; the tasks name what may not be served as it is."""
    account = Account(entries=kept.evaluator.entries, batteries={})
    ledger = build_ledger(kept.shop, kept.journal, account, from_ms=kept.from_ms, to_ms=kept.now_ms)
    summary = build_summary(kept.shop, ledger, {})
    text = " ".join(file_text(summary).split())
    tasks = [todo.text for todo in summary.todos if todo.text.startswith("Lot")]

    for lot, words in kept.words().items():
        assert f"Lot {lot}" in text
        assert words.verdict[1:] in text
        assert any(lot in task for task in tasks) != words.is_proven, (lot, tasks)
    assert "Lot L-doubt: in doubt; see why before it is served raw." in tasks


def test_message_on_a_phone_names_lots_with_what_may_be_said_of_them(kept: Kept) -> None:
    """Of the lots that it names; in the shop's language."""
    for where in AT_C:
        condition, _ = described(
            Condition(key=AlarmKey(unit=UnitId(where), rule=Rule.HOLDING), since_ms=kept.from_ms),
            kept.shop, kept.journal, kept.evaluator.tracks, kept.evaluator,
        )  # fmt: skip
        body = alarm_message(
            kept.shop, condition, About.RAISED, raised_ms=kept.from_ms, now_ms=kept.now_ms
        ).body
        said = {
            Standing.PROVEN: "proven", Standing.DOUBT: "in doubt",
            Standing.UNPROVEN: "not proven", Standing.AGAINST: "not for raw service",
        }  # fmt: skip
        for lot, words in kept.words().items():
            if LOTS[lot][1] == where:
                assert f"{lot} ({said[words.standing]})" in body, body
