"""What is heard, on the page: placed, put in as a spare, or refused with why."""

import html
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from page_visitor import Pages, form_token, pages_of, publish
from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.intake.placing import placeable, unplaced
from rimewatch.intake.survey import Survey
from rimewatch.journal.journal import Journal
from rimewatch.service.hearing import found_of
from rimewatch.service.settings_keeper import FileKeeper
from rimewatch.service.writer import Writer
from rimewatch.web.heard import Heard
from rimewatch.web.people import Role

NOW_MS = 1_772_452_800_000
TEXT = """[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"

[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"

[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
offset_c = -0.4
uncertainty_c = 0.2
"""
OWN = load_shop(TEXT)


@dataclass
class ByHand:
    """Hears what a test says, and makes of it what the service's own ear makes."""

    survey: Survey = field(default_factory=Survey)
    asked: int = 0

    def begin(self) -> None:
        """Count who asks."""
        self.asked += 1

    def say(self, topic: str, payload: str) -> None:
        """Have a message heard three times, a minute apart."""
        for number in range(3):
            self.survey.add(topic, payload.encode(), NOW_MS + 60_000 * number)

    def heard(self) -> Heard:
        """Return it."""
        found = placeable(self.survey.guesses(), OWN.timezone)
        new = unplaced(found, OWN.probes)
        return Heard(
            was_listened=True, found=tuple(map(found_of, new)), known=len(found) - len(new)
        )


@dataclass
class Desk:
    """A shop's file, its pages, and what is heard."""

    file: Path
    ear: ByHand
    pages: Pages
    ana: TestClient

    def key(self) -> str:
        """Return what tells the one probe that is heard from others."""
        found = re.search(r'name="key" value="([^"]+)"', self.ana.get("/settings/heard").text)
        assert found is not None
        return found[1]

    def send(self, form: str, **fields: str) -> tuple[int, str]:
        """Send a form of the page."""
        token = form_token(self.ana.get("/settings/heard").text)
        answer = self.ana.post(f"/settings/heard/{form}", data={"form_token": token, **fields})
        return answer.status_code, answer.headers.get("location") or html.unescape(answer.text)

    def tables(self) -> dict[str, list[dict[str, object]]]:
        """Return what the file says."""
        return tomllib.loads(self.file.read_text(encoding="utf-8"))


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """Give a shop whose service takes what the file says at once."""
    file = tmp_path / "shop.toml"
    file.write_text(TEXT, encoding="utf-8")
    clock, ear = SteppedClock(NOW_MS), ByHand()
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        Writer(OWN, journal, clock).take(())

        def use(_who: str) -> str:
            keeper.taken()
            return ""

        keeper = FileKeeper(file, {}, journal.path, clock, use)
        pages = pages_of(OWN, journal.path, clock, keeper=keeper, listens=ear)
        publish(pages, OWN, journal)
        yield Desk(file, ear, pages, pages.signed_in(Role.SET_UP, "Ana"))


def test_probe_is_placed_in_the_unit_its_topic_names(desk: Desk) -> None:
    """The unit is chosen already: one tap."""
    desk.ear.say("shop/case-1/fish", '{"t": 1.5}')
    page = desk.ana.get("/settings/heard").text
    assert '<option value="case-1" selected>Front display case</option>' in page
    where = desk.send("place", key=desk.key(), unit="case-1", measures="product")

    assert where == (303, "/unit/case-1")
    made = desk.tables()["probe"][-1]
    assert (made["id"], made["unit"], made["measures"]) == ("case-1-product", "case-1", "product")
    assert made["topic"] == "shop/case-1/fish"


def test_probe_comes_with_a_new_unit_where_there_is_none_for_it(desk: Desk) -> None:
    """Of the kind that its cold tells, with the name that was typed or the one it has."""
    desk.ear.say("shop/garage/air", '{"temperature": -20.5}')
    assert desk.send("place", key=desk.key(), unit="+freezer", name="Garage, left")[0] == 303

    tables = desk.tables()
    assert tables["unit"][-1] == {"id": "garage-left", "name": "Garage, left", "kind": "freezer"}
    assert tables["probe"][-1]["unit"] == "garage-left"


def test_spare_hangs_where_the_other_did_and_takes_over_no_correction(desk: Desk) -> None:
    """It is a probe of its own: another id, and its own check in ice to come."""
    desk.ear.say("shop/spare-7/air", '{"t": 2.5}')
    where = desk.send("spare", key=desk.key(), of="case-1-air")

    assert where[0] == 303
    (made,) = desk.tables()["probe"]
    assert made["id"] == "case-1-air-2"
    assert (made["unit"], made["measures"]) == ("case-1", "air")
    assert made["topic"] == "shop/spare-7/air"
    assert not {"offset_c", "uncertainty_c"} & made.keys()


@pytest.mark.parametrize("form", ["place", "spare"])
def test_what_is_heard_no_more_is_not_placed(desk: Desk, form: str) -> None:
    """Somebody else placed it, or the service was started anew."""
    status, page = desk.send(form, key="0" * 16, unit="case-1", of="case-1-air")

    assert status == 410
    assert "Listen anew" in page
    assert desk.file.read_text(encoding="utf-8") == TEXT


def test_refusal_is_said_on_the_page(desk: Desk) -> None:
    """A unit that went meanwhile."""
    desk.ear.say("shop/case-9/air", '{"t": 2.5}')
    status, page = desk.send("place", key=desk.key(), unit="case-9")

    assert status == 422
    assert "Nothing was changed." in page
    assert "no unit has that id" in page
    assert ".toml" not in page
    assert desk.file.read_text(encoding="utf-8") == TEXT


def test_strange_text_in_a_topic_is_shown_as_text(desk: Desk) -> None:
    """Whoever may publish writes no page."""
    desk.ear.say("shop/<script>alert(1)</script>/air", '{"t": -20.5}')
    page = desk.ana.get("/settings/heard").text

    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page


def test_listening_begins_with_a_tap_and_is_for_those_who_set_up(desk: Desk) -> None:
    """Nobody else has the service listen."""
    assert desk.send("listen") == (303, "/settings/heard")
    assert desk.ear.asked == 1
    ben = desk.pages.signed_in(Role.ACT, "Ben")
    token = form_token(ben.get("/").text)
    assert ben.get("/settings/heard").status_code == 403
    for form in ("listen", "place", "spare"):
        answer = ben.post(f"/settings/heard/{form}", data={"form_token": token})
        assert answer.status_code == 403
    assert desk.ear.asked == 1
