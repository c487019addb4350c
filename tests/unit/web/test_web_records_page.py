"""The record of a period from the pages: the command's own files, for who is signed in."""

import io
import json
import threading
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader
from starlette.concurrency import run_in_threadpool

from handmade import ms
from page_visitor import Pages, pages_of, publish
from rimewatch.cli import rimewatch
from rimewatch.clock import SteppedClock
from rimewatch.journal import Journal
from rimewatch.web.live import Health
from rimewatch.web.people import Role
from written_night import SHOP, SHOP_TEXT, write_night

DAYS = {"first": "2026-03-02", "last": "2026-03-03"}
NAME = "record-2026-03-02-to-2026-03-03"


@pytest.fixture(scope="module")
def journal_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the journal of two days."""
    path = tmp_path_factory.mktemp("shop") / "rimewatch.db"
    write_night(path, "2026-03-02T12:30:00Z", 24.2)
    return path


@pytest.fixture
def pages(journal_path: Path) -> Pages:
    """Give the pages of that shop, two days later."""
    return pages_of(SHOP, journal_path, SteppedClock(ms("2026-03-05T18:00:00Z")))


def test_records_page_offers_the_week_before_and_is_in_the_menu(pages: Pages) -> None:
    """Two days and a form are all that must be chosen; the cautions stand beside."""
    client = pages.signed_in(Role.LOOK, "Ben")
    page = client.get("/records").text

    assert '<a href="/records" aria-current="page">Records</a>' in page
    assert 'name="first" required max="2026-03-05" value="2026-02-26"' in page
    assert 'name="last" required max="2026-03-05" value="2026-03-04"' in page
    assert "guarantee" in page
    assert '<a href="/records">Records</a>' in client.get("/mornings").text


def test_downloads_are_the_commands_own_files(
    pages: Pages, journal_path: Path, tmp_path: Path
) -> None:
    """Paper, tables and JSON from a page say what those from a terminal say."""
    config = tmp_path / "shop.toml"
    config.write_text(SHOP_TEXT, encoding="utf-8")
    CliRunner().invoke(
        rimewatch,
        [
            "records", "--config", str(config), "--journal", str(journal_path),
            "--from", DAYS["first"], "--to", DAYS["last"], "--out", str(tmp_path / "out"),
        ],
        catch_exceptions=False,
        standalone_mode=False,
    )  # fmt: skip
    client = pages.signed_in(Role.LOOK, "Ben")

    packed = client.get("/records/download", params={**DAYS, "form": "csv"})
    plain = client.get("/records/download", params={**DAYS, "form": "json"})
    paper = client.get("/records/download", params={**DAYS, "form": "pdf"})

    assert packed.headers["content-disposition"] == f'attachment; filename="{NAME}.zip"'
    with zipfile.ZipFile(io.BytesIO(packed.content)) as file:
        found = {name: file.read(name) for name in file.namelist()}
    written = {
        f"{NAME}/{path.name}": path.read_bytes() for path in (tmp_path / "out" / NAME).iterdir()
    }
    assert found == written
    assert plain.headers["content-type"] == "application/json"
    assert plain.content == (tmp_path / "out" / f"{NAME}.json").read_bytes()
    assert json.loads(plain.content)["excursions"]
    assert paper.headers["content-disposition"] == f'attachment; filename="{NAME}.pdf"'
    assert paper.content == (tmp_path / "out" / f"{NAME}.pdf").read_bytes()
    assert "Front display case" in PdfReader(io.BytesIO(paper.content)).pages[0].extract_text()
    assert paper.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["/records", "/records/download?first=2026-03-02&form=json"])
def test_record_is_for_nobody_who_is_not_signed_in(pages: Pages, path: str) -> None:
    """Strangers are sent to the door, and get no line of it."""
    answer = pages.client().get(path)

    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/sign-in")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"first": "March"}, "The first day is no date"),
        ({"last": ""}, "The last day is no date"),
        ({"form": "exe"}, "expected pdf, csv, json"),
        ({"first": "2026-03-03", "last": "2026-03-02"}, "first day not after the last"),
        ({"first": "2026-03-09", "last": "2026-03-09"}, "has not begun yet"),
        ({"first": "2024-01-01"}, "at most 400 days"),
    ],
)
def test_slip_in_the_form_is_answered_with_its_cure(
    pages: Pages, change: dict[str, str], said: str
) -> None:
    """In words on a page, with nothing downloaded."""
    client = pages.signed_in(name="Ana")
    answer = client.get("/records/download", params={**DAYS, "form": "json", **change})

    assert answer.status_code == 422
    assert said in answer.text
    assert "content-disposition" not in answer.headers


def test_one_record_is_made_at_a_time(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two impatient people do not keep the machine from its watch."""
    begun, go_on = threading.Event(), threading.Event()

    async def held(*asked: object) -> object:
        def work() -> object:
            begun.set()
            assert go_on.wait(30)
            return asked[0](*asked[1:])  # type: ignore[operator]

        return await run_in_threadpool(work)

    client = pages.signed_in(name="Ana")
    monkeypatch.setattr("rimewatch.web.records_page.run_in_threadpool", held)
    answers: list[int] = []
    wanted = {**DAYS, "form": "json"}
    first = threading.Thread(
        target=lambda: answers.append(client.get("/records/download", params=wanted).status_code)
    )
    first.start()
    assert begun.wait(30)
    second = pages.signed_in(name="Ben").get("/records/download", params=wanted)
    go_on.set()
    first.join(30)

    assert second.status_code == 503
    assert "try again in a minute" in second.text
    assert answers == [200]
    assert client.get("/records/download", params=wanted).status_code == 200


def test_health_page_tells_how_the_mirror_stands(pages: Pages, journal_path: Path) -> None:
    """Where there is one; a shop without one is not told of it."""
    client = pages.signed_in(name="Ana")
    with Journal.open(journal_path) as journal:
        publish(pages, SHOP, journal)
        assert "Mirror" not in client.get("/health").text
        said = Health(listening=True, mirror="up to date, last sent 12:00 CST")
        publish(pages, SHOP, journal, said)

    assert "up to date, last sent 12:00 CST" in client.get("/health").text
