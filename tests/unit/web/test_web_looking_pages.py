"""A check in ice, a review, and another setting tried, from the phone."""

import html
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from handmade import probe, shop, unit
from page_visitor import Pages, form_token, pages_of, publish
from rimewatch.clock import SteppedClock
from rimewatch.entries import AnyEntry, CalibrationCheck
from rimewatch.journal.journal import Journal
from rimewatch.readings import Reading
from rimewatch.service.ice_check import ice_seen
from rimewatch.service.looking_back import review_from_file
from rimewatch.service.settings_keeper import FileKeeper
from rimewatch.service.supposing import Supposing
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import MS_PER_DAY, ProbeId
from rimewatch.web.people import Role
from rimewatch.web.site import Looks

START_MS = 1_772_452_800_000
TEXT = """[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
display = "F"

[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"

[[probe]]
id = "fish"
unit = "case-1"
measures = "product"
topic = "fish"
"""
OWN = shop(
    unit(name="Front display case"),
    probe("fish", measures="product", every_s=30),
    probe("door", measures="door"),
)


@pytest.fixture(autouse=True)
def _nobody_takes_entries_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """No service runs here that a form would wait for."""
    monkeypatch.setattr("rimewatch.web.enter.TAKEN_IN_WITHIN_S", 0.05)


@dataclass
class Desk:
    """A shop's pages, its journal, and a clock that a test moves."""

    pages: Pages
    journal: Journal
    clock: SteppedClock
    supposing: Supposing
    ana: TestClient

    def read(self, values: list[float], every_s: int = 30) -> None:
        """Have the probe say values up to now."""
        now_ms = self.clock.now_ms()
        self.journal.add_readings(
            [
                Reading(
                    probe=ProbeId("fish"),
                    observed_ms=at_ms,
                    arrived_ms=at_ms,
                    raw=value,
                    value=value,
                )
                for n, value in enumerate(reversed(values))
                for at_ms in [now_ms - 1000 * every_s * n]
            ][::-1]
        )

    def entries(self) -> list[AnyEntry]:
        """Return what was written down."""
        return [entry for _, entry in self.journal.entries_after(0, 100)]


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """Give a shop whose file and journal lie on the disk."""
    file = tmp_path / "shop.toml"
    file.write_text(TEXT, encoding="utf-8")
    clock = SteppedClock(START_MS)
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        Writer(OWN, journal, clock).take(())
        keeper = FileKeeper(file, {}, journal.path, clock, lambda _: "")
        supposing = Supposing(file, journal.path, {"PATH": str(Path(sys.executable).parent)}, clock)
        pages = pages_of(
            OWN,
            journal.path,
            clock,
            keeper=keeper,
            looks=Looks(
                ice=partial(ice_seen, journal.path),
                review=partial(review_from_file, OWN, journal.path),
                supposes=supposing,
            ),
        )
        publish(pages, OWN, journal)
        yield Desk(pages, journal, clock, supposing, pages.signed_in(Role.SET_UP, "Ana"))
        supposing.stop()


# --- ice ------------------------------------------------------------------------------------


def begun(desk: Desk) -> str:
    """Put the probe into the ice; return where the page leads."""
    answer = desk.ana.get("/ice?probe=fish")
    assert answer.status_code == 303
    return answer.headers["location"]


def test_minutes_in_the_ice_are_counted_down_without_a_script(desk: Desk) -> None:
    """Three minutes at least, by the check's own window; the page loads itself again."""
    where = begun(desk)
    desk.clock.move_to(START_MS + 60_000)
    desk.read([0.2] * 8)
    page = html.unescape(desk.ana.get(where).text)

    assert "2 min more in the ice at least." in page
    assert '<noscript><meta http-equiv="refresh" content="5"></noscript>' in page
    assert "Write the check down" not in page
    still = re.search(r'<noscript> <a href="([^"]+)">Stop that', page)
    assert still is not None
    assert "http-equiv" not in desk.ana.get(still[1]).text


def test_settled_check_is_written_down_and_corrects_from_now_on(desk: Desk) -> None:
    """FDA Food Code 2022, 4-203.11(A): within 1 °C, 1.8 °F; the correction is its opposite."""
    where = begun(desk)
    desk.clock.move_to(START_MS + 200_000)
    desk.read([0.3] * 8)
    page = html.unescape(desk.ana.get(where).text)
    assert "It has settled. In the ice it should show 32.0 °F." in page
    assert "+0.54 °F off. Inside ±1.8 °F (FDA Food Code 2022, 4-203.11(A))." in page
    token = form_token(page)
    sent = {"form_token": token, "probe": "fish", "correct": "yes"}
    answer = desk.ana.post("/ice", data=sent)

    assert answer.headers["location"] == "/ice?done=fish"
    assert "The check of fish is written down." in desk.ana.get("/ice?done=fish").text
    (entry,) = desk.entries()
    assert isinstance(entry, CalibrationCheck)
    assert (entry.who, entry.found_c, entry.offset_c) == ("Ana", 0.3, -0.3)
    assert entry.reference == "ice bath"


def test_check_without_correction_leaves_the_offset(desk: Desk) -> None:
    """Nobody ticked it."""
    begun(desk)
    desk.clock.move_to(START_MS + 200_000)
    desk.read([0.3] * 8)
    token = form_token(desk.ana.get("/").text)
    desk.ana.post("/ice", data={"form_token": token, "probe": "fish"})

    (entry,) = desk.entries()
    assert isinstance(entry, CalibrationCheck)
    assert entry.offset_c is None


def test_probe_that_still_moves_is_not_written_down(desk: Desk) -> None:
    """Whatever the form says: what counts is what the readings show."""
    where = begun(desk)
    desk.clock.move_to(START_MS + 200_000)
    desk.read([4.0, 3.5, 3.0, 2.5, 2.0, 1.5, 1.0])
    assert "It still moves; leave it in." in desk.ana.get(where).text
    token = form_token(desk.ana.get("/").text)
    answer = desk.ana.post("/ice", data={"form_token": token, "probe": "fish"})

    assert answer.status_code == 409
    assert desk.entries() == []


def test_door_is_not_checked_in_ice_and_lookers_check_nothing(desk: Desk) -> None:
    """It measures no temperature; and a check is an entry."""
    assert desk.ana.get("/ice?probe=door").status_code == 404
    ben = desk.pages.signed_in(Role.LOOK, "Ben")
    assert ben.get("/ice").status_code == 403
    assert "fish" in desk.pages.signed_in(Role.ACT, "Cem").get("/ice").text


# --- reviews --------------------------------------------------------------------------------


def test_week_and_month_are_reviewed_on_the_phone_and_as_pdf(desk: Desk) -> None:
    """By everybody who may look."""
    desk.clock.move_to(START_MS + 60 * MS_PER_DAY)
    desk.read([2.0] * 50)
    ben = desk.pages.signed_in(Role.LOOK, "Ben")
    choice = ben.get("/review").text
    week = re.search(r'name="week" value="([^"]+)"', choice)
    month = re.search(r'name="month" value="([^"]+)"', choice)
    assert week is not None
    assert month is not None

    for query in (f"week={week[1]}", f"month={month[1]}"):
        page = ben.get(f"/review/made?{query}")
        assert page.status_code == 200
        assert "Front display case" in page.text
        paper = ben.get(f"/review/made?{query}&form=pdf")
        assert paper.content.startswith(b"%PDF")


@pytest.mark.parametrize("query", ["", "week=soon", "month=2026-13", "month=x", "week=9999-12-31"])
def test_review_of_no_time_is_refused(desk: Desk, query: str) -> None:
    """Or of one that is not over."""
    assert desk.ana.get(f"/review/made?{query}").status_code == 422


# --- what if --------------------------------------------------------------------------------


def test_another_limit_is_tried_on_ones_own_past(desk: Desk) -> None:
    """Twice over, in a process of its own; nothing is changed by it."""
    desk.clock.move_to(START_MS + MS_PER_DAY)
    desk.read([4.0] * 240 + [6.5] * 240 + [4.0] * 240, every_s=60)
    page = desk.ana.get("/what-if").text
    fields = {
        "form_token": form_token(page),
        "unit": "case-1",
        "key": "limit_c",
        "value": "37",
        "first": "2026-03-02",
        "last": "2026-03-03",
    }
    assert desk.ana.post("/what-if", data={**fields, "value": "cold"}).status_code == 422
    assert desk.ana.post("/what-if", data={**fields, "last": "2027-03-02"}).status_code == 422
    assert desk.ana.post("/what-if", data=fields).status_code == 303
    assert desk.supposing.latest().is_at_work
    assert desk.ana.post("/what-if", data=fields).status_code == 422, "one at a time"
    desk.supposing.wait(120.0)
    page = html.unescape(desk.ana.get("/what-if").text)

    assert "Front display case, Limit: the usual → 37 °F" in page
    assert "With the changed configuration:" in page
    assert "Front display case: " in page
    assert (desk.journal.path.parent / "shop.toml").read_text(encoding="utf-8") == TEXT
    assert desk.pages.signed_in(Role.ACT, "Ben").get("/what-if").status_code == 403
