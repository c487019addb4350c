"""Every kind of entry at each of the four doors: the same answer, in the same sentence."""

import asyncio
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import pytest
from click.testing import CliRunner
from starlette.exceptions import HTTPException
from starlette.testclient import TestClient

from handmade import Paper, iso, probe, unit
from page_visitor import Pages, form_token, pages_of, publish
from rimewatch.cli import rimewatch
from rimewatch.clock import SteppedClock, SystemClock
from rimewatch.commands.standing import enter
from rimewatch.config import read_shop
from rimewatch.config.changing import tables_of
from rimewatch.entries import ENTRY_CLASSES, AnyEntry, ChangeSettings
from rimewatch.errors import UserError
from rimewatch.evaluation.door import OVER_SEVERAL, not_here
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.intake.arrivals import Arrived
from rimewatch.intake.entries import parse_entry
from rimewatch.intake.trace import TraceEntry
from rimewatch.journal.entering import refusals_between
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.resume import account_of
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_MINUTE
from rimewatch.web.enter import Desk
from rimewatch.web.guard import Visitor
from rimewatch.web.people import Role

Said = Mapping[str, Any]

HEAD = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:1"
entries = true
"""
TABLES = (
    unit("freezer-1", "freezer"),
    probe("core", "freezer-1", measures="product"),
    probe("frost", "freezer-1"),
    unit("case-1"),
    probe("fish", "case-1", measures="product"),
    probe("lid", "case-1", measures="door"),
)
TOPIC = "rimewatch/rimewatch/entry"
WILD = {"species": "Oncorhynchus nerka", "origin": "wild", "serve_raw": True}

PAST: tuple[Said, ...] = (
    {"do": "receive-lot", "lot": "L-1", **WILD},
    {"do": "receive-lot", "lot": "GONE", **WILD},
    {"do": "withdraw-lot", "lot": "GONE", "reason": "sold out"},
    {"do": "in-service", "unit": "case-1"},
    {"do": "receive-lot", "lot": "SLIP", **WILD},
    {"do": "cancel-entry", "number": 5, "reason": "a slip"},
    {"do": "receive-lot", "lot": "SLIP", **WILD},
    {"do": "receive-lot", "lot": "OLD", **WILD},
    {"do": "move-lot", "lot": "OLD", "unit": "case-1"},
    {"do": "cancel-entry", "number": 8, "reason": "never came"},
    {
        "do": "correct-place",
        "probe": "frost",
        "was": "freezer-1",
        "unit": "case-1",
        "from": "2020-03-01T00:00:00Z",
        "to": "2020-03-02T00:00:00Z",
        "reason": "it lay in the case",
        "who": "Ben",
    },
)
"""What is on the books, a minute apart, two days ago: entries 1 to 11."""

NO_UNIT = 'there is no unit "nowhere"; the configuration has freezer-1, case-1'
NO_LOT = 'there is no lot "L-9" on the books; did you mean L-1?'
GONE = " (sold out); if it is here, cancel entry 3 first"
ONE_ALARM = '"unit" is null; only power-loss and stale are alarms over several units'
FREEZE = {"do": "start-freezing", "lot": "L-1", "unit": "freezer-1", "option": "20C-168h"}
OF_A_UNIT: tuple[Said, ...] = (
    FREEZE,
    {"do": "start-thawing", "lot": "L-1"},
    {"do": "move-lot", "lot": "L-1"},
    {"do": "acknowledge", "rule": "holding"},
    {"do": "shelve", "rule": "door", "minutes": 30},
    {"do": "unshelve", "rule": "door"},
    {"do": "out-of-service"},
    {"do": "in-service"},
    {"do": "corrective-action", "text": "Moved the trays."},
    {"do": "start-cooling"},
    {"do": "end-cooling"},
    {"do": "start-time-control", "hours": 4},
    {"do": "end-time-control"},
)
OF_A_LOT: tuple[Said, ...] = (
    FREEZE,
    {"do": "start-thawing", "unit": "case-1"},
    {"do": "move-lot", "unit": "case-1"},
    {"do": "withdraw-lot", "reason": "sold out"},
    {"do": "correct-lot", "reason": "weighed again", "kilograms": 4.0},
    {"do": "attach-statement", "reference": "S-1", "states": "feed"},
    {"do": "start-cooling", "unit": "case-1"},
    {"do": "start-time-control", "hours": 6},
    {"do": "end-time-control"},
)
DONE_WITH_FISH: tuple[Said, ...] = (*OF_A_LOT[:4], OF_A_LOT[7])

MISPLACED: Said = {
    "probe": "frost",
    "was": "freezer-1",
    "unit": "case-1",
    "from": "2020-01-01T00:00:00Z",
    "to": "2020-01-02T00:00:00Z",
    "reason": "it lay in the case",
    "who": "Ben",
}
"""Said of a probe by somebody else; entry 11 says it of another time."""

REFUSED: list[tuple[Said, str]] = [
    (
        {"do": "correct-place", **MISPLACED, "was": "case-1", "unit": "freezer-1"},
        "the settings had frost in freezer-1, not in case-1",
    ),
    (
        {"do": "correct-place", **MISPLACED, "to": "2019-01-01T00:00:00Z"},
        "expected a time that is over, from before to",
    ),
    ({"do": "confirm-place", "number": 4}, "entry 4 says of no probe where it was"),
    *(({**said, "unit": "nowhere"}, NO_UNIT) for said in OF_A_UNIT),
    *(({**said, "lot": "L-9"}, NO_LOT) for said in OF_A_LOT),
    (
        {"do": "corrective-action", "unit": "case-1", "text": "Binned.", "lots": ["L-1", "L-9"]},
        NO_LOT,
    ),
    ({"do": "move-lot", "lot": "fish of today", "unit": "case-1"}, "the newest are L-1, SLIP, OLD"),
    *(({**said, "lot": "GONE"}, GONE) for said in DONE_WITH_FISH),
    (PAST[0], 'lot "L-1" is on the books already; give other fish a number of its own, or '),
    (PAST[1], 'lot "GONE" is on the books already; give other fish a number of its own, or '),
    (PAST[7], 'entry 9 about lot "OLD" counts and is older than this receipt; cancel it as well'),
    (
        {**FREEZE, "unit": "case-1"},
        "case-1 is no freezer and freezes nothing; expected one of freezer-1",
    ),
    (
        {"do": "start-thawing", "lot": "L-1", "unit": "freezer-1"},
        "freezer-1 is a freezer and thaws nothing; expected one of case-1",
    ),
    ({**FREEZE, "probe": "fish"}, '"fish" is no product probe of freezer-1; it has core'),
    ({**FREEZE, "probe": "frost"}, '"frost" is no product probe of freezer-1; it has core'),
    (
        {**FREEZE, "needed_by": "2020-01-01T06:00:00Z"},
        "needed by 2020-01-01 00:00 is past; expected a time to come",
    ),
    ({"do": "correct-lot", "lot": "L-1", "reason": "a slip"}, "nothing to correct was given; "),
    (
        {"do": "correct-lot", "lot": "OLD", "reason": "a slip", "kilograms": 3.0},
        'nobody has received lot "OLD", so there is nothing to correct',
    ),
    ({"do": "cancel-entry", "number": 99, "reason": "a slip"}, "there is no entry 99; "),
    ({"do": "cancel-entry", "number": 4, "reason": "a slip"}, "entry 4 is not about a lot; "),
    ({"do": "cancel-entry", "number": 5, "reason": "a slip"}, "entry 5 does not count already"),
    (
        {"do": "cancel-entry", "number": 6, "reason": "a slip"},
        'without entry 6, two receipts of lot "SLIP" would count; cancel the other one first',
    ),
    *(
        ({"do": do, "unit": None, "rule": "holding", **more}, f"{do}: {ONE_ALARM}")
        for do, more in (("acknowledge", {}), ("shelve", {"minutes": 5}), ("unshelve", {}))
    ),
    (
        {"do": "calibration-check", "probe": "core-2", "found_c": 0.2},
        'there is no probe "core-2"; the configuration has core, frost, fish',
    ),
    (
        {"do": "calibration-check", "probe": "lid", "found_c": 0.2},
        "lid measures door; ice checks temperatures alone",
    ),
]

BY_A_WAY_OF_THEIR_OWN = {"change-settings"}
"""Taken in a trace, and refused in one sentence at every other door."""

TAKEN: list[Said] = [
    {"do": "receive-lot", "lot": "L-2", **WILD},
    {**FREEZE, "probe": "core"},
    {"do": "move-lot", "lot": "L-1", "unit": "case-1"},
    {"do": "withdraw-lot", "lot": "L-1"},
    {"do": "start-thawing", "lot": "L-1", "unit": "case-1"},
    {"do": "attach-statement", "lot": "GONE", "reference": "S-1", "states": "feed"},
    {"do": "correct-lot", "lot": "GONE", "reason": "weighed again", "kilograms": 4.0},
    {"do": "cancel-entry", "number": 3, "reason": "it is still here"},
    *({"do": "acknowledge", "unit": None, "rule": rule.value} for rule in OVER_SEVERAL),
    {"do": "shelve", "unit": "case-1", "rule": "door", "minutes": 6000},
    {"do": "unshelve", "unit": "case-1", "rule": "door"},
    {"do": "out-of-service", "unit": "case-1"},
    {"do": "in-service", "unit": "case-1"},
    {"do": "corrective-action", "unit": "case-1", "text": "Binned.", "lots": ["L-1", "GONE"]},
    {"do": "start-cooling", "unit": "case-1", "lot": "GONE"},
    {"do": "end-cooling", "unit": "case-1"},
    {"do": "start-time-control", "lot": "L-1", "hours": 4},
    {"do": "end-time-control", "lot": "L-1"},
    {"do": "calibration-check", "probe": "core", "found_c": 0.2},
    {"do": "retry-quarantine"},
    {"do": "correct-place", **MISPLACED},
    {"do": "confirm-place", "number": 11, "who": "Ana"},
]


def words_of(said: Said) -> list[str] | None:
    """Return how a command says it; None: no command does, or one that first looks at alarms."""
    more = [
        word
        for key, option in (
            ("reason", "--reason"), ("species", "--species"), ("origin", "--origin"),
            ("probe", "--probe"), ("needed_by", "--needed-by"), ("kilograms", "--kilograms"),
            ("minutes", "--minutes"), ("reference", "--reference"), ("states", "--states"),
        )
        if key in said
        for word in (option, str(said[key]))
    ]  # fmt: skip
    more += [word for lot in said.get("lots", ()) for word in ("--lot", lot)]
    lot, where = str(said.get("lot")), said.get("unit") or "-"
    words: dict[str, list[str]] = {
        "receive-lot": ["lot", "receive", lot, *more],
        "start-freezing": ["lot", "freeze", lot, where, str(said.get("option")), *more],
        "start-thawing": ["lot", "thaw", lot, where],
        "move-lot": ["lot", "move", lot, where],
        "withdraw-lot": ["lot", "withdraw", lot, *more],
        "correct-lot": ["lot", "correct", lot, *more],
        "attach-statement": ["lot", "attach", lot, *more],
        "cancel-entry": ["lot", "cancel", str(said.get("number")), *more],
        "shelve": ["alarm", "shelve", where, str(said.get("rule")), *more],
        "out-of-service": ["unit", "out-of-service", where],
        "in-service": ["unit", "in-service", where],
        "corrective-action": ["unit", "note", where, str(said.get("text")), *more],
        "retry-quarantine": ["quarantine", "retry"],
    }
    return words.get(said["do"])


def form_of(said: Said) -> tuple[str, dict[str, str]] | None:
    """Return which form of the pages says it and how; None: none does."""
    forms = {
        "receive-lot": "receive", "start-freezing": "freeze", "start-thawing": "thaw",
        "move-lot": "move", "withdraw-lot": "withdraw", "correct-lot": "correct",
        "cancel-entry": "cancel",
    }  # fmt: skip
    fields = {key: str(value) for key, value in said.items() if key != "do"}
    if said["do"] in forms:
        fields.pop("serve_raw", None)
        return f"/lots/{forms[said['do']]}", {"lot": "L-1", **fields}
    if said["do"] == "shelve":
        return "/shelve", {**fields, "unit": said["unit"] or ""}
    return None


@dataclass
class Doors:
    """A shop's four doors, with the same on the books behind each."""

    shop: Shop
    folder: Path
    now_ms: int
    pages: Pages
    client: TestClient
    visitor: Visitor

    @property
    def journal_path(self) -> Path:
        """Where three of the doors lead to."""
        return self.folder / "rimewatch.db"

    def lines(self, said: Said) -> Paper:
        """Return a trace of the past and of an entry now."""
        paper = Paper(iso(self.now_ms))
        for number, line in enumerate(PAST):
            keys = {key: value for key, value in line.items() if key != "do"}
            paper.do((number - 2 * 24 * 60) * 60, line["do"], **keys)
        keys = {key: value for key, value in said.items() if key != "do"}
        return paper.do(0, said["do"], **keys)

    def trace(self, said: Said) -> str | None:
        """Ask at a replay; a refusal is listed."""
        ledger = ledger_document(replay(self.shop, self.lines(said).read(), summaries=False).ledger)
        if not ledger["refused"]:
            return None
        (refused,) = ledger["refused"]
        assert (refused["at"], refused["do"]) == (ledger["to"], said["do"])
        return str(refused["why"])

    def topic(self, said: Said) -> str | None:
        """Ask over the broker; a refusal is kept as an event, and listed."""
        payload = json.dumps(said).encode()
        with Journal.open(self.journal_path) as journal:
            known = len(refusals_between(journal, 0, self.now_ms))
            before = len(journal.entries_after(0))
            writer = Writer(self.shop, journal, SteppedClock(self.now_ms))
            writer.take([Arrived(TOPIC, payload, self.now_ms, False, 0, 1, 1)])
            assert not journal.quarantine_latest(10), "it was well-formed"
            refused = refusals_between(journal, 0, self.now_ms)[known:]
            assert len(journal.entries_after(0)) - before == (0 if refused else 1)
            account = account_of(journal, writer.evaluator, 0, self.now_ms)
            ledger = ledger_document(
                build_ledger(self.shop, journal, account, from_ms=0, to_ms=self.now_ms)
            )
            assert [item["why"] for item in ledger["refused"]][known:] == [r.why for r in refused]
        return refused[0].why if refused else None

    def command(self, said: Said) -> str | None:
        """Ask at a terminal, or where no command says it, by what every command enters with."""
        words = words_of(said)
        if words is None:
            entry = parse_entry(said, self.now_ms)
            try:
                enter(self.shop, self.journal_path, entry)
            except UserError as error:
                return str(error)
            return None
        where = ["--config", str(self.folder / "shop.toml"), "--journal", str(self.journal_path)]
        found = CliRunner().invoke(rimewatch, [*words, *where, "--who", "Ines"])
        if found.exception is None:
            return None
        assert isinstance(found.exception, UserError), found.output
        return str(found.exception)

    def page(self, said: Said) -> str | None:
        """Ask by a form, or where no form says it, at the desk that every form goes to."""
        form = form_of(said)
        if form is None:
            desk = Desk(
                self.shop, self.journal_path, self.pages.board, self.pages.clock, parse_entry
            )
            try:
                asyncio.run(desk.take(self.visitor, said))
            except HTTPException as error:
                return f"{error.detail}".removesuffix(".")
            return None
        path, fields = form
        token = form_token(self.client.get("/lots").text)
        answer = self.client.post(path, data={"form_token": token, **fields})
        if answer.status_code == 303:
            return None
        assert answer.status_code == 422, answer.text
        for value in fields.values():
            assert f'value="{value}"' in answer.text, "nothing that was typed is lost"
        said_there = answer.text.partition('role="alert">')[2].partition("</p>")[0]
        return said_there.replace("&#34;", '"').removesuffix(".")


DOORS: tuple[Callable[[Doors, Said], str | None], ...] = (
    Doors.trace,
    Doors.topic,
    Doors.command,
    Doors.page,
)


def doors_in(folder: Path) -> Doors:
    """Return the doors of a shop, by the machine's own clock: the commands go by it."""
    (folder / "shop.toml").write_text(HEAD + "\n".join(TABLES), encoding="utf-8")
    now_ms = SystemClock().now_ms() // 1000 * 1000
    own = read_shop(folder / "shop.toml", {}, sends=False)
    clock = SteppedClock(now_ms - 3 * 24 * 60 * MS_PER_MINUTE)
    with Journal.open(folder / "rimewatch.db") as journal:
        Writer(own, journal, clock).take(())
        found = pages_of(own, journal.path, clock)
        doors = Doors(own, folder, now_ms, found, found.client(), None)  # type: ignore[arg-type]
        for line in doors.lines({"do": "retry-quarantine"}).read()[: len(PAST)]:
            assert isinstance(line, TraceEntry)
            journal.add_entry(line.entry, "test")
        clock.move_to(now_ms)
        publish(found, own, journal)
    doors.client = found.signed_in(Role.ACT, "Ana")
    person = next(person for person in found.people.everybody() if person.name == "Ana")
    doors.visitor = Visitor(person, "")
    return doors


@pytest.fixture(autouse=True)
def _nobody_takes_entries_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """No service runs here that a form would wait for."""
    monkeypatch.setattr("rimewatch.web.enter.TAKEN_IN_WITHIN_S", 0.05)


@pytest.fixture(scope="module")
def shut(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Doors]:
    """Give doors through which nothing comes: one for all that is refused."""
    doors = doors_in(tmp_path_factory.mktemp("doors"))
    yield doors
    with JournalReader.open(doors.journal_path) as journal:
        assert len(journal.entries_after(0)) == len(PAST), "nothing that was refused was written"


@pytest.mark.parametrize(
    ("said", "why"), REFUSED, ids=[f"{said['do']}: {why[:40]}" for said, why in REFUSED]
)
def test_what_a_rule_refuses_is_refused_at_every_door_in_one_sentence(
    shut: Doors, said: Said, why: str
) -> None:
    """Whoever enters it, wherever: the books stay as they were, and they learn why."""
    answers = [door(shut, said) for door in DOORS]

    assert answers[0] is not None
    assert why in answers[0]
    assert answers == [answers[0]] * len(DOORS)


@pytest.mark.parametrize("door", DOORS, ids=lambda door: door.__name__)
def test_what_no_rule_refuses_is_taken_at_every_door(
    tmp_path: Path, door: Callable[[Doors, Said], str | None]
) -> None:
    """One of each kind, each by itself on the same books; with what may be left out left out."""
    for number, said in enumerate(TAKEN):
        folder = tmp_path / str(number)
        folder.mkdir()
        assert door(doors_in(folder), said) is None, said


def test_every_kind_of_entry_is_asked_for() -> None:
    """A new kind of entry cannot be forgotten here."""
    kinds: tuple[type[AnyEntry], ...] = get_args(AnyEntry)
    asked = {said["do"] for said in TAKEN}
    assert asked | BY_A_WAY_OF_THEIR_OWN == {kind.do for kind in kinds} == set(ENTRY_CLASSES)
    bare = {"retry-quarantine"}
    refused = {said["do"] for said, _ in REFUSED}
    assert refused == set(ENTRY_CLASSES) - bare - BY_A_WAY_OF_THEIR_OWN


def test_settings_are_changed_in_a_trace_and_else_by_a_way_of_their_own(shut: Doors) -> None:
    """Whoever may publish an entry may not have the shop watched otherwise."""
    told = {"shop": {"name": "Saltmarsh Row Fish", "timezone": "America/Chicago"}}
    said = {"do": "change-settings", "settings": told}
    answers = [door(shut, said) for door in DOORS[1:]]

    assert answers == [not_here(ChangeSettings(at_ms=0, settings="{}"))] * 3
    wrong = shut.trace(said)
    assert wrong is not None, "there is no unit in it"
    assert "unit is missing" in wrong
    right = tables_of(HEAD + "\n".join(TABLES))
    assert shut.trace({**said, "settings": right}) is None
