"""``rimewatch lot`` as people type it, on a journal that the real writer filled."""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from rimewatch.clock import SteppedClock, SystemClock
from rimewatch.commands import lot_goods
from rimewatch.commands.lot import command
from rimewatch.config import read_shop
from rimewatch.errors import UserError
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.service.writer import Writer

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
display = "C"
[[unit]]
id = "ulf-1"
name = "Ultra-low freezer"
kind = "ultra-low-freezer"
lag_s = 0
[[unit]]
id = "freezer-1"
name = "Chest freezer"
kind = "freezer"
lag_s = 0
[[unit]]
id = "walk-in"
name = "Walk-in cooler"
kind = "walk-in"
lag_s = 0
[[probe]]
id = "ulf-1-air"
unit = "ulf-1"
measures = "air"
topic = "ulf-1"
every_s = 600
stale_s = 1900
uncertainty_c = 0.3
[[probe]]
id = "freezer-1-air"
unit = "freezer-1"
measures = "air"
topic = "freezer-1"
every_s = 600
stale_s = 1900
uncertainty_c = 0.3
[[probe]]
id = "walk-in-air"
unit = "walk-in"
measures = "air"
topic = "walk-in"
every_s = 600
stale_s = 1900
uncertainty_c = 0.3
[[species]]
common = "ocean whitefish"
scientific = "Caulolatilus princeps"
group = "finfish"
forms_scombrotoxin = true
"""
DAYS = 10
EVERY_MS = 1_800_000
Run = Callable[..., Result]


@pytest.fixture(scope="module")
def now_ms() -> int:
    """Give the machine's own time: the commands ask for it."""
    return SystemClock().now_ms()


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory, now_ms: int) -> Path:
    """Give a folder with a configuration and a journal of ten cold days until now."""
    folder = tmp_path_factory.mktemp("lots")
    (folder / "shop.toml").write_text(SHOP, encoding="utf-8")
    shop = read_shop(folder / "shop.toml", {}, sends=False)
    first_ms = now_ms - DAYS * 86_400_000
    items = [
        Arrived(topic, value, at_ms, False, 0, 1, 1)
        for at_ms in range(first_ms, now_ms, EVERY_MS)
        for topic, value in (
            ("ulf-1", b"-62.0"),
            ("freezer-1", b"-22.5" if at_ms // EVERY_MS % 2 else b"-22.6"),
            ("walk-in", b"1.5"),
        )
    ]
    with Journal.open(folder / "rimewatch.db") as journal:
        clock = SteppedClock(first_ms)
        writer = Writer(shop, journal, clock)
        clock.move_to(now_ms)
        writer.take(items)
    return folder


@pytest.fixture
def run(filled: Path, tmp_path: Path) -> Run:
    """Run a command of ``lot`` on a copy of that folder; a refusal fails the test."""
    for name in ("shop.toml", "rimewatch.db"):
        (tmp_path / name).write_bytes((filled / name).read_bytes())

    def call(*words: str, typed: str | None = None) -> Result:
        where = [
            "--config",
            str(tmp_path / "shop.toml"),
            "--journal",
            str(tmp_path / "rimewatch.db"),
        ]
        who = [] if words[0] in ("list", "plan", "options", "record") else ["--who", "Ines"]
        result = CliRunner().invoke(
            command, [*words, *where, *who], input=typed, catch_exceptions=False
        )
        assert result.exit_code == 0, result.output
        return result

    return call


def ago(now_ms: int, hours: float) -> str:
    """Return a time so many hours before now, as ``--at`` takes it."""
    from datetime import UTC, datetime

    at = datetime.fromtimestamp(now_ms / 1000 - hours * 3600, tz=UTC)
    return at.isoformat(timespec="seconds")


def receive(run: Run, lot: str, *more: str) -> Result:
    """Receive wild salmon for raw service."""
    given = dict(zip(more[::2], more[1::2], strict=False))
    species = [] if "--species" in given else ["--species", "Oncorhynchus nerka"]
    origin = [] if "--origin" in given else ["--origin", "wild"]
    return run("receive", lot, *species, *origin, *more)


def test_receiving_says_what_each_freezer_can_do(run: Run) -> None:
    """Which options, where, and when each would be complete."""
    said = receive(run, "L-1", "--celsius", "1.0", "--thickness-mm", "30").output

    assert "3-402.11(A)" in said
    possible = [line for line in said.splitlines() if ": complete " in line]
    assert possible[0].startswith("  35C-15h in Ultra-low freezer (ulf-1)")
    assert "never above −61.7 °C in the last 3 days" in possible[0]
    assert any(line.startswith("  20C-168h in Chest freezer (freezer-1)") for line in possible)
    refused = next(line for line in said.splitlines() if "not cold enough" in line)
    assert "35C-15h in Chest freezer" in refused
    assert "not a guarantee of safety" in said


def test_receiving_too_warm_is_said_at_the_door(run: Run) -> None:
    """FDA Food Code 2022, 3-202.11(A): 5 °C (41 °F) or below."""
    assert "refuse it" not in receive(run, "L-1", "--fahrenheit", "41.0").output
    assert "refuse it" in receive(run, "L-2", "--fahrenheit", "41.1").output


def test_receiving_farmed_fish_asks_for_the_statement_where_somebody_is_there(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The exemption rests on it: FDA Food Code 2022, 3-402.11(B)(4)."""
    monkeypatch.setattr(lot_goods, "asks", lambda: True)
    farmed = ("--species", "Salmo salar", "--origin", "farmed-pellet")

    said = run("receive", "L-1", *farmed, typed="F-77\n").output
    none = run("receive", "L-2", *farmed, typed="\n").output

    assert "written statement on its feed" in said
    assert "No statement is recorded" not in said
    assert "No statement is recorded" in none
    with JournalReader.open(tmp_path / "rimewatch.db") as journal:
        statements = [entry.statement for _, entry in journal.entries_after(0)]  # type: ignore[union-attr]
    assert statements == ["F-77", ""]


def test_receiving_farmed_fish_by_a_script_asks_nothing(run: Run) -> None:
    """Nobody would answer."""
    said = run("receive", "L-1", "--species", "Salmo salar", "--origin", "farmed-pellet").output

    assert "Reference of" not in said
    assert "No statement is recorded" in said


def test_own_species_of_the_shop_is_known(run: Run) -> None:
    """The configuration named it."""
    said = receive(run, "L-1", "--species", "Ocean whitefish").output

    assert "Ocean whitefish (Caulolatilus princeps) is not among the exempt fish" in said


def test_only_complete_proofs_are_listed_as_ready(run: Run, now_ms: int) -> None:
    """Frozen for 200 h or 100 h, exempt, without its statement, frozen elsewhere, or fresh."""
    for lot, hours in (("long", 200), ("short", 100)):
        receive(run, lot, "--at", ago(now_ms, hours))
        run("freeze", lot, "freezer-1", "20C-168h", "--at", ago(now_ms, hours))
    run("correct", "long", "--confirm-start", "--reason", "seen by two", "--who", "Ana")
    receive(run, "tuna", "--species", "Thunnus albacares")
    receive(run, "farmed", "--origin", "farmed-pellet")
    receive(run, "bought-frozen")
    run("attach", "bought-frozen", "--reference", "S-1", "--states", "freezing",
        "--option", "20C-168h")  # fmt: skip
    receive(run, "fresh")

    ready = run("list", "--raw-ready").output
    every = run("list").output

    lots = {line.split()[0]: line for line in every.splitlines()}
    assert {line.split()[0] for line in ready.splitlines()[:-1]} - {"licensed", "A"} == {
        "long",
        "tuna",
        "farmed",
        "bought-frozen",
    }
    assert "parasite proof complete (own freezing)" in lots["long"]
    assert "parasite proof complete (exempt from freezing)" in lots["tuna"]
    assert "the supplier’s statement on freezing" in lots["bought-frozen"]
    assert "its hold is not complete: " in lots["short"]
    assert "parasite proof complete (exempt from freezing)" in lots["farmed"]
    assert "needs a freezing hold" in lots["fresh"]


def test_lots_that_will_be_late_are_told_with_what_would_save_them(run: Run, now_ms: int) -> None:
    """Two began their week 20 h ago and are wanted in two days; −35 °C would do it."""
    wanted = ago(now_ms, -48)
    for lot in ("L-1", "L-2"):
        receive(run, lot, "--at", ago(now_ms, 21), "--thickness-mm", "25", "--celsius", "1")
        run("freeze", lot, "freezer-1", "20C-168h", "--at", ago(now_ms, 20), "--needed-by", wanted)
    receive(run, "L-3", "--at", ago(now_ms, 21))
    run("freeze", "L-3", "ulf-1", "20C-168h", "--at", ago(now_ms, 20))

    said = run("plan").output

    assert said.count("LATE") == 2
    (cure,) = [line for line in said.splitlines() if line.startswith("Lots ")]
    assert cure.startswith("Lots L-1 and L-2 will not be ready by ")
    assert "unless moved to Ultra-low freezer before " in cure
    assert "(35C-15h)" in cure


def test_thawing_reminds_of_the_packaging_and_of_a_missing_proof(run: Run, now_ms: int) -> None:
    """FDA Food Code 2022, 3-501.13(A) and (E)."""
    receive(run, "L-1", "--at", ago(now_ms, 60), "--rop")
    run("freeze", "L-1", "freezer-1", "20C-168h", "--at", ago(now_ms, 50))

    said = run("thaw", "L-1", "walk-in").output

    assert "5 °C (41 °F) or below" in said
    assert "out of its packaging before it thaws" in said
    assert "must not be served raw. Its hold is not complete" in said
    assert "it was put to thaw when" in run("list").output


def test_moving_fish_to_where_it_is_served_from_warns_of_a_missing_proof(
    run: Run, now_ms: int
) -> None:
    """As thawing does; from one freezer into another nobody serves."""
    receive(run, "L-1", "--at", ago(now_ms, 60))
    run("freeze", "L-1", "freezer-1", "20C-168h", "--at", ago(now_ms, 50))
    receive(run, "tuna", "--species", "Thunnus albacares", "--celsius", "18")

    between, out = run("move", "L-1", "ulf-1").output, run("move", "L-1", "walk-in").output
    warm = run("move", "tuna", "walk-in").output

    assert between == "L-1: moved to ulf-1.\n"
    assert "must not be served raw. Its hold is not complete" in out
    assert "It came in above 5 °C (41 °F), to be refused" in warm
    assert "must not be served raw" not in warm


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("thaw", "L-1", "freezer-1"), "freezer-1 is a freezer and thaws nothing"),
        (
            ("freeze", "L-1", "walk-in", "20C-168h"),
            "walk-in is no freezer and freezes nothing",
        ),
        (("move", "L-7", "walk-in"), 'there is no lot "L-7"'),
        (
            ("receive", "L-1", "--species", "Salmo salar", "--origin", "wild"),
            'lot "L-1" is on the books already; give other fish a number of its own',
        ),
        (("correct", "L-1", "--reason", "a slip"), "nothing to correct was given"),
        (("cancel", "9", "--reason", "a slip"), "there is no entry 9"),
        (("record", "L-1", "--format", "pdf"), "name its file with --out"),
        (
            ("freeze", "L-1", "freezer-1", "20C-168h", "--needed-by", "2020-01-01"),
            "needed by 2020-01-01 00:00 is past",
        ),
        (
            ("freeze", "L-1", "ulf-1", "35C-15h", "--probe", "ulf-1-air"),
            '"ulf-1-air" is no product probe of ulf-1; it has none',
        ),
    ],
)
def test_slip_is_refused_in_one_sentence(run: Run, words: tuple[str, ...], sentence: str) -> None:
    """What is wrong, and what would be right."""
    receive(run, "L-1")

    with pytest.raises(UserError) as refused:
        run(*words)

    assert sentence in str(refused.value)


def test_number_whose_receipt_was_cancelled_is_free_again(run: Run) -> None:
    """It was never that fish's."""
    receive(run, "L-1")
    run("cancel", "1", "--reason", "that was another lot")

    receive(run, "L-1", "--species", "Salmo salar")

    assert "Salmo salar" in run("list").output


def test_list_never_calls_fish_that_came_in_too_warm_fit_to_be_served(run: Run) -> None:
    """An exemption is one from freezing; it says nothing of the cold."""
    receive(run, "L-1", "--species", "Thunnus albacares", "--celsius", "18")

    said = run("list").output

    assert "what is recorded speaks against it; it came in above 5 °C (41 °F)" in said
    assert "may be served" not in said


def test_list_of_ready_lots_leaves_out_what_the_page_marks(run: Run) -> None:
    """Exempt, but it came in too warm: the page shows no sign of a proof, nor does the list."""
    receive(run, "L-1", "--species", "Thunnus albacares", "--celsius", "18")
    receive(run, "L-2", "--species", "Thunnus albacares", "--celsius", "1")

    ready = run("list", "--raw-ready").output

    assert "L-2 Thunnus albacares" in ready
    assert "L-1" not in ready


def test_option_of_other_countries_is_never_offered_as_one_of_the_food_code(run: Run) -> None:
    """24 h at −20 °C are of the European Union and of Japan."""
    offered = receive(run, "L-1", "--celsius", "1.0", "--thickness-mm", "30").output.splitlines()
    said = run("freeze", "L-1", "ulf-1", "20C-24h").output

    assert all(
        line.endswith("; no option of the FDA Food Code.") is line.startswith("  20C-24h in")
        for line in offered
        if ": complete " in line
    )
    assert "no option of the FDA Food Code; where that is in force it is not enough" in said
    assert "Food Code" not in run("freeze", "L-1", "ulf-1", "35C-15h").output


def test_correction_and_cancelled_entry_both_stay_on_the_record(run: Run) -> None:
    """What was said, what is right, who said so, and why."""
    receive(run, "L-1", "--thickness-mm", "30")
    run("correct", "L-1", "--thickness-mm", "45", "--reason", "measured again")
    run("move", "L-1", "walk-in")
    run("cancel", "3", "--reason", "that was another lot")

    text = run("record", "L-1").output
    told = json.loads(run("record", "L-1", "--format", "json").output)

    assert "45 mm thick" in text
    assert "Corrected (measured again): thickness 30 mm → 45 mm" in text
    assert "[cancelled by entry 4] Moved to Walk-in cooler" in text
    assert "Entry 4" not in text.split("Entries,")[0]
    assert [place["unit"] for place in told["path"]] in ([], [None])
    assert [(e["entry_number"], e["do"], e["cancelled_by"]) for e in told["entries"]] == [
        (1, "receive-lot", None),
        (2, "correct-lot", None),
        (3, "move-lot", 4),
        (4, "cancel-entry", None),
    ]
    assert {e["who"] for e in told["entries"]} == {"Ines"}


def test_record_of_a_whole_hold_names_cold_time_and_evidence(run: Run, now_ms: int) -> None:
    """FDA Food Code 2022, 3-402.12(A)."""
    receive(run, "L-1", "--at", ago(now_ms, 201))
    run("freeze", "L-1", "freezer-1", "20C-168h", "--at", ago(now_ms, 200))

    hold = json.loads(run("record", "L-1", "--format", "json").output)["hold"]

    assert (hold["option"], hold["credited_h"], hold["line_c"]) == ("20C-168h", 168.0, -20.0)
    assert (hold["warmest_c"], hold["warmest_with_uncertainty_c"]) == (-22.5, -22.2)
    assert [(p["probe"], p["evidence"], p["calibration"]) for p in hold["probes"]] == [
        ("freezer-1-air", "air", None)
    ]


def test_record_as_pdf_is_one_page_with_the_same_words(
    run: Run, now_ms: int, tmp_path: Path
) -> None:
    """Something to hand over."""
    receive(run, "L-1", "--at", ago(now_ms, 200))
    run("freeze", "L-1", "freezer-1", "20C-168h", "--at", ago(now_ms, 200))
    run("correct", "L-1", "--confirm-start", "--reason", "by the card", "--who", "Ana")

    run("record", "L-1", "--format", "pdf", "--out", str(tmp_path / "L-1.pdf"))

    pages = PdfReader(tmp_path / "L-1.pdf").pages
    assert len(pages) == 1
    words = " ".join(pages[0].extract_text().split())
    assert "Parasite proof complete (own freezing). Freezing hold complete" in words
    assert "−20.0 °C or colder for 168 h" in words
    assert "not a guarantee of safety" in words
    assert len(pages[0].images) == 1


def test_record_as_html_has_the_words_and_the_curve(run: Run, now_ms: int) -> None:
    """To be read on a phone, without anything beside it."""
    receive(run, "L-1", "--at", ago(now_ms, 200))
    run("freeze", "L-1", "freezer-1", "20C-168h", "--at", ago(now_ms, 200))

    html = run("record", "L-1", "--format", "html").output

    assert html.startswith("<!DOCTYPE html>")
    assert html.count('src="data:image/png;base64,') == 1
    assert "not a guarantee of safety" in html


def test_attached_statement_is_kept_under_its_hash_and_looked_after(
    run: Run, tmp_path: Path
) -> None:
    """Never overwritten; the record says if it is gone or not what it was."""
    receive(run, "L-1")
    scan = tmp_path / "statement.pdf"
    scan.write_bytes(b"%PDF-1.4 frozen at -35 C")
    sha256 = hashlib.sha256(scan.read_bytes()).hexdigest()
    kept = tmp_path / "attachments" / sha256

    said = run(
        "attach", "L-1", str(scan), "--reference", "S-1", "--states", "freezing",
        "--option", "35C-15h",
    ).output  # fmt: skip
    run("attach", "L-1", str(scan), "--reference", "S-1 again", "--states", "freezing")
    record = run("record", "L-1").output

    assert "must name a temperature and a time" in said
    assert kept.read_bytes() == scan.read_bytes()
    assert "Frozen by the supplier, by their written statement" in record
    assert "3-402.12(B)" in record
    assert "the file is kept and unchanged" in record
    kept.chmod(0o644)
    kept.write_bytes(b"something else")
    assert "NOT THE ONE THAT WAS ATTACHED" in " ".join(run("record", "L-1").output.split())
    with pytest.raises(UserError, match="is not what was put there"):
        run("attach", "L-1", str(scan), "--reference", "S-1", "--states", "freezing")
    kept.unlink()
    assert "THE FILE IS MISSING" in " ".join(run("record", "L-1").output.split())


def test_withdrawal_says_until_when_the_record_is_kept(run: Run) -> None:
    """90 calendar days beyond the last sale."""
    receive(run, "L-1")

    said = run("withdraw", "L-1", "--reason", "sold out").output

    assert "Its record is to be kept through " in said
    assert "No lot is on the books" in run("list").output
    assert "To be kept through" in run("record", "L-1").output
