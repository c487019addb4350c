"""What a person gets who asks for the record: files, pages, seals, and plain answers."""

import csv
import io
import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from handmade import ms
from rimewatch.cli import rimewatch
from rimewatch.entries import CalibrationCheck
from rimewatch.errors import UserError
from rimewatch.journal import Journal
from rimewatch.vocabulary import ProbeId
from written_night import SHOP_TEXT, write_night

Run = Callable[..., Result]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop's configuration and the journal of two days."""
    folder = tmp_path_factory.mktemp("shop")
    (folder / "shop.toml").write_text(SHOP_TEXT + '\n[records]\npaper = "a4"\n', encoding="utf-8")
    write_night(folder / "journal.db", "2026-03-02T12:30:00Z", 24.2)
    return folder


@pytest.fixture
def run(folder: Path) -> Run:
    """Run a command on that shop; a user's mistake raises, as it does behind the command line."""

    def run(*arguments: str, journal: Path | None = None) -> Result:
        options = ["--journal", str(journal or folder / "journal.db")]
        if arguments[0] != "verify":
            options += ["--config", str(folder / "shop.toml")]
        return CliRunner().invoke(
            rimewatch, [*arguments, *options], catch_exceptions=False, standalone_mode=False
        )

    return run


def read(path: Path) -> str:
    """Return a PDF's text on one line, as a reader's eye joins it."""
    pages = PdfReader(path).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_records_are_written_in_three_forms_that_agree(run: Run, tmp_path: Path) -> None:
    """The same excursion, action and log in CSV, JSON and on paper."""
    result = run("records", "--from", "2026-03-02", "--to", "2026-03-03", "--out", str(tmp_path))

    name = "record-2026-03-02-to-2026-03-03"
    assert "corrective action" not in result.stdout
    document = json.loads((tmp_path / f"{name}.json").read_text(encoding="utf-8"))
    (excursion,) = document["excursions"]
    assert excursion["corrective_action"] == "on record"
    assert excursion["what_was_done"] == "Moved the fish to the walk-in"
    (action,) = document["corrective_actions"]
    assert (action["disposition"], action["lots"]) == ("kept", "L-1")
    (seal,) = document["seals"]
    assert seal["day"] == "2026-03-02"
    assert [(row["what"], row["who"]) for row in document["handled"]] == [
        ("acknowledged", ""),
        ("shelved for 60 min", "Ana"),
        ("taken from its shelf", "Ben"),
    ]
    rows = {}
    for path in (tmp_path / name).glob("*.csv"):
        with io.StringIO(path.read_text(encoding="utf-8"), newline="") as file:
            rows[path.stem] = list(csv.DictReader(file))
    assert rows["excursions"][0]["start"] == excursion["start"]
    log = [row for row in rows["temperature-log"] if row["unit"] == "case-1"]
    assert [row["day"] for row in log] == ["2026-03-02", "2026-03-03"]
    assert log[0]["00:00"] == ""
    assert float(log[0]["08:00"]) == document["temperature_log"][0]["08:00"]
    text = read(tmp_path / f"{name}.pdf")
    assert "Front display case" in text
    assert "Moved the fish to the walk-in" in text
    assert seal["seal"][:4] in text
    assert "not a guarantee of food safety" in text


def test_paper_is_the_shops_and_the_same_input_gives_the_same_bytes(
    run: Run, tmp_path: Path
) -> None:
    """A4 is 595 by 842 points (ISO 216); nothing of the day it was printed is inside."""
    arguments = ("summary", "--day", "2026-03-03", "--pdf")
    run(*arguments, str(tmp_path / "one.pdf"))
    run(*arguments, str(tmp_path / "two.pdf"))

    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()
    pages = PdfReader(tmp_path / "one.pdf").pages
    assert len(pages) <= 2
    assert [round(float(side)) for side in pages[0].mediabox[2:]] == [595, 842]


def test_a_summary_on_paper_says_what_the_text_says(run: Run, tmp_path: Path) -> None:
    """Every sentence of the kept page is there, and the seal of the day before."""
    result = run(
        "summary", "--day", "2026-03-03",
        "--pdf", str(tmp_path / "summary.pdf"),
        "--html", str(tmp_path / "summary.html"),
    )  # fmt: skip

    text = read(tmp_path / "summary.pdf").replace("\u00a0", " ")
    (seal,) = [line for line in result.stdout.splitlines() if line.startswith("Seal of ")]
    assert seal in text
    assert seal in (tmp_path / "summary.html").read_text(encoding="utf-8")
    for sentence in ("Front display case", "Moved the fish to the walk-in", "Door opened 3 times"):
        assert sentence in result.stdout
        assert sentence in text


def test_a_sound_journal_is_verified_and_its_seal_found_again(run: Run) -> None:
    """The seal that was printed is the one that a check finds."""
    assert "1 day is as sealed" in run("verify").stdout
    printed = run("verify", "--print-seal").stdout
    day, _, seal = printed.partition("  ")

    assert day == "2026-03-02"
    assert run("verify", "--print-seal", "2026-03-02").stdout == printed
    assert "that of 2026-03-02" in run("verify", "--seal", seal[:19]).stdout
    with pytest.raises(UserError, match="not the record that was printed"):
        run("verify", "--seal", "dead beef dead beef")


def test_a_changed_reading_is_named_with_its_day(run: Run, folder: Path, tmp_path: Path) -> None:
    """Who changes one value by hand is found out, and when."""
    path = tmp_path / "journal.db"
    with sqlite3.connect(folder / "journal.db") as source, sqlite3.connect(path) as copy:
        source.backup(copy)
        copy.execute(
            "UPDATE reading SET milli = milli - 4000 WHERE (probe_no, observed_ms) IN (SELECT"
            " probe_no, observed_ms FROM reading JOIN probe ON no = probe_no WHERE id = 'air'"
            " AND milli > 7000 ORDER BY observed_ms LIMIT 1)"
        )
        copy.execute("PRAGMA journal_mode = WAL")
    source.close()
    copy.close()

    with pytest.raises(UserError, match=r"changed after it was sealed: 2026-03-02: readings: air"):
        run("verify", journal=path)


def test_an_excursion_without_an_action_is_told_as_open(
    run: Run, folder: Path, tmp_path: Path
) -> None:
    """The person who prints the record learns what is missing from it."""
    path = tmp_path / "journal.db"
    with sqlite3.connect(folder / "journal.db") as source, sqlite3.connect(path) as copy:
        source.backup(copy)
        (kept,) = copy.execute("SELECT sql FROM sqlite_schema WHERE name = 'entry_kept'").fetchone()
        copy.execute("DROP TRIGGER entry_kept")
        copy.execute("DELETE FROM entry WHERE do = 'corrective-action'")
        copy.execute(kept)
        copy.execute("PRAGMA journal_mode = WAL")
    source.close()
    copy.close()

    result = run(
        "records", "--from", "2026-03-02", "--to", "2026-03-02",
        "--out", str(tmp_path), "--format", "pdf", journal=path,
    )  # fmt: skip

    assert "1 excursion has no corrective action on record" in result.stdout
    assert [file.suffix for file in tmp_path.glob("record-*")] == [".pdf"]
    assert "corrective action open" in read(tmp_path / "record-2026-03-02-to-2026-03-02.pdf")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("records", "--from", "March", "--to", "2026-03-03"), '--from "March" is no date'),
        (("records", "--from", "2026-03-03", "--to", "2026-03-02"), "first day not after the last"),
        (("records", "--from", "2999-01-01", "--to", "2999-01-02"), "has not begun yet"),
        (("review", "--ending", "2999-01-01"), "is not over yet"),
        (("review", "--ending", "soon"), '--ending "soon" is no date'),
        (("review", "--month", "2026-13"), '--month "2026-13" is no month'),
        (("review", "--month", "2999-01"), "is not over yet"),
        (("review", "--week", "2026-03-01"), '--week "2026-03-01" is no week'),
        (("review", "--week", "2026-W09", "--month", "2026-02"), "exclude one another"),
        (("summary", "--day", "2026-03-30"), "there is no summary of 2026-03-30"),
        (("verify", "--print-seal", "2026-04-01"), "2026-04-01 has no seal"),
        (("verify", "--seal", "xyz"), "is no seal"),
    ],
)
def test_a_slip_is_answered_with_its_cure(
    run: Run, tmp_path: Path, arguments: tuple[str, ...], said: str
) -> None:
    """One sentence: what, and what would be right."""
    if arguments[0] == "records":
        arguments = (*arguments, "--out", str(tmp_path))
    with pytest.raises(UserError, match=said):
        run(*arguments)


def test_a_review_shows_the_week_on_screen_and_on_paper(run: Run, tmp_path: Path) -> None:
    """Doors, alarms against their benchmarks, and probes that nobody has checked."""
    result = run(
        "review", "--week", "--ending", "2026-03-03",
        "--html", str(tmp_path / "review.html"), "--pdf", str(tmp_path / "review.pdf"),
    )  # fmt: skip

    text, paper = result.stdout, read(tmp_path / "review.pdf").replace("\u00a0", " ")
    html = (tmp_path / "review.html").read_text(encoding="utf-8")
    for said in (
        "Front display case: opened 3 times, 6 min in all, longest 4 min.",
        "Within the benchmarks",
        "No check is on record for air and fish",
        "Too few days to tell a trend",
    ):
        assert said in text
        assert said in " ".join(paper.split())
    assert "Week to Tuesday 3 March 2026" in html
    assert "<script" not in html


def test_a_review_of_a_month_or_a_week_is_the_calendars(run: Run) -> None:
    """The one that is named, or the last that is over."""
    assert "February 2026\nSunday 1 February 2026" in run("review", "--month", "2026-02").stdout
    assert "Week to Sunday 1 March 2026" in run("review", "--week", "2026-W09").stdout
    assert " 2026-" in run("review", "--month").stdout


def test_a_probe_check_is_on_the_record_and_settles_the_review(
    run: Run, folder: Path, tmp_path: Path
) -> None:
    """What was found against the ice, by whom, and the offset set; the other one is still due."""
    path = tmp_path / "journal.db"
    with sqlite3.connect(folder / "journal.db") as source, sqlite3.connect(path) as copy:
        source.backup(copy)
    source.close()
    copy.close()
    with Journal.open(path) as journal:
        journal.add_entry(
            CalibrationCheck(
                at_ms=ms("2026-03-02T15:00:00Z"),
                who="Ana",
                probe=ProbeId("air"),
                found_c=0.31,
                reference="ice bath",
                offset_c=-0.31,
            ),
            "test",
        )
        number = journal.entries_after(0)[-1][0]
        state = json.loads(journal.load_state("evaluator") or "")
        journal.save_state("evaluator", json.dumps({**state, "entry_number": number}))

    days = ("--from", "2026-03-02", "--to", "2026-03-03", "--out", str(tmp_path))
    run("records", *days, journal=path)
    reviewed = run("review", "--week", "--ending", "2026-03-03", journal=path).stdout

    name = "record-2026-03-02-to-2026-03-03"
    document = json.loads((tmp_path / f"{name}.json").read_text(encoding="utf-8"))
    assert document["probe_checks"] == [
        {
            "at": "2026-03-02T09:00:00-06:00",
            "probe": "air",
            "who": "Ana",
            "what": "off by +0.56 °F against ice bath; offset set to −0.56 °F",
        }
    ]
    paper = " ".join(read(tmp_path / f"{name}.pdf").replace("\u00a0", " ").split())
    assert "off by +0.56 °F" in paper
    assert "Its probe was being checked up to Mon 2 March 09:00 CST against ice bath" in paper
    notes = [row["note"] for row in document["temperature_log"] if row["probe"] == "air"]
    assert notes == ["probe checked 09:00", ""]
    assert "No check is on record for fish: check it" in reviewed
