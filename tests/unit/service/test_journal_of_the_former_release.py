"""A journal that the former release wrote opens, and its lots are judged anew: nothing is lost.

``tests/data/former-release.db.xz`` was written by that release's own writer: eight days of a
shop's readings, and lots of many kinds that it showed as proven. It is the file as it was left.
"""

import lzma
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from page_visitor import pages_of, publish
from rimewatch.clock import SteppedClock
from rimewatch.commands.lot import command as lot_command
from rimewatch.config import read_shop
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal.journal import Journal
from rimewatch.report.judged_anew import LOT_JUDGED_ANEW
from rimewatch.service.resume import resume
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import About

DATA = Path(__file__).parents[2] / "data"
LEFT_MS = 1_770_044_400_000 + 194 * 3_600_000
"""When the former release last wrote: Tuesday 10 February 2026, 11:00 in Chicago."""
MORNING_MS = LEFT_MS + round(19.6 * 3_600_000)
"""Just after the next morning's summary is due."""

ANEW = {
    "L-01": "scombrotoxin, fish not previously frozen",  # 20 h at 8 °C, then frozen
    "L-02": "pathogens, raw ready-to-eat fish",  # above 50 °F, and once above 70 °F
    "L-03": "was found off by",  # a check that failed after the hold
    "L-05": "is no proof under the FDA Food Code 2022",  # 20C-24h, and no thickness
    "L-07": "names 20C-24h, which is no proof under the FDA Food Code 2022",
    "L-08": "Nobody watched it",  # never placed
    "L-09": "Never to be served raw",  # eel
    "L-10": "It was written down as discarded",
    "L-13": "In its vacuum pack it was above 3.3 °C (38 °F)",
    "L-14": "Its hold is not complete",  # frozen before it was received
    "L-16": "without moving",  # a probe that showed one value all along
}
"""Lots that the former release showed with a proof, and what is said of them now."""


@pytest.fixture
def shop() -> Shop:
    """Return the shop of that journal."""
    return read_shop(DATA / "former-release.toml", {}, sends=False)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Give the journal as the former release left it."""
    found = tmp_path / "rimewatch.db"
    found.write_bytes(lzma.decompress((DATA / "former-release.db.xz").read_bytes()))
    return found


@pytest.fixture
def before(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Return what was on the books before anything newer opened them."""
    with sqlite3.connect(path) as connection:
        return {
            "entry": connection.execute("SELECT id, at_ms, do, text FROM entry").fetchall(),
            "reading": connection.execute(
                "SELECT p.id, observed_ms, milli FROM reading JOIN probe p ON p.no = probe_no"
                " ORDER BY 1, 2"
            ).fetchall(),
            "summary": connection.execute("SELECT date, text FROM summary").fetchall(),
        }


def _shown(unit: Unit, at_ms: int) -> bytes:
    """Return what a unit's probe went on to send."""
    if unit.id == "freezer-4":
        return b"-22.0"
    at_c = -28.0 if unit.kind.is_freezer else 2.0
    return f"{at_c - 0.1 * (at_ms // 1_800_000 % 2):.1f}".encode()


@pytest.fixture
def opened(
    path: Path, shop: Shop, before: dict[str, list[tuple[object, ...]]]
) -> Iterator[Journal]:
    """Give the journal as this release goes on with it, over its first morning."""
    assert len(before["entry"]) == 30
    with Journal.open(path) as journal:
        clock = SteppedClock(LEFT_MS)
        writer = Writer(shop, journal, clock)
        clock.move_to(MORNING_MS)
        writer.take(
            [
                Arrived(f"p-{unit.id}", _shown(unit, at_ms), at_ms, False, 0, 1, 1)
                for at_ms in range(LEFT_MS, MORNING_MS, 1_800_000)
                for unit in shop.units
            ]
        )
        writer.take((), last=True)
        yield journal


def test_nothing_that_was_entered_or_read_is_lost(
    opened: Journal, path: Path, before: dict[str, list[tuple[object, ...]]]
) -> None:
    """Every entry, reading and summary of before."""
    assert opened.path == path
    with sqlite3.connect(path) as connection:
        entries = connection.execute("SELECT id, at_ms, do, text FROM entry").fetchall()
        summaries = connection.execute("SELECT date, text FROM summary").fetchall()
    assert entries[: len(before["entry"])] == before["entry"]
    assert set(before["summary"]) < set(summaries)
    for probe, at_ms, milli in before["reading"]:
        last = opened.last_before(probe, int(str(at_ms)) + 1)  # type: ignore[arg-type]
        assert last == (at_ms, pytest.approx(int(str(milli)) / 1000))


def test_first_morning_says_once_which_lots_changed_and_why(opened: Journal, shop: Shop) -> None:
    """In the message, and kept; a lot that stands as before is not among them."""
    kept = [event.detail for event in opened.events_of_kind(LOT_JUDGED_ANEW)]
    (message,) = [
        row
        for row in opened.outbox_due(MORNING_MS)
        if row.about is About.SUMMARY and "judged anew" in row.body
    ]

    for lot, why in ANEW.items():
        (said,) = [line for line in kept if line.startswith(f"Lot {lot} is judged anew: ")]
        assert why in said
        assert said in message.body
    assert not any("L-17" in line or "L-18" in line for line in kept)
    assert len(kept) == len(ANEW)
    clock = SteppedClock(MORNING_MS + 86_400_000)
    Writer(shop, opened, clock).take((), last=True)
    assert len(opened.events_of_kind(LOT_JUDGED_ANEW)) == len(ANEW)


def test_list_and_page_show_the_note_as_long_as_the_lot_is_here(
    opened: Journal, shop: Shop
) -> None:
    """Whoever did not read the message finds it beside the lots."""
    page = pages_of(shop, opened.path, SteppedClock(MORNING_MS))
    publish(page, shop, opened)
    shown = page.signed_in().get("/lots").text
    listed = CliRunner().invoke(
        lot_command,
        ["list", "--config", str(DATA / "former-release.toml"), "--journal", str(opened.path)],
        catch_exceptions=False,
    )

    assert listed.exit_code == 0, listed.output
    for lot in ANEW:
        assert f"Lot {lot} is judged anew: " in shown
        assert f"Lot {lot} is judged anew: " in listed.output
    assert resume(shop, opened, MORNING_MS).evaluator.entries
