"""What was concluded is held against the readings, and a start trusts only what a seal proves."""

import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from handmade import probe, shop, unit
from rimewatch.clock import SteppedClock
from rimewatch.commands.verify import command
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal.journal import Journal
from rimewatch.rules.watch import Spell
from rimewatch.service.resume import resume
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, MS_PER_MINUTE, ProbeId

START_MS = 1_772_409_600_000  # 2026-03-02T00:00:00Z
AIR = ProbeId("freezer-1-air")
ZONE = "America/Chicago"
SHOP = shop(
    unit("freezer-1", "freezer", lag_s=0),
    probe("freezer-1-air", "freezer-1", topic="shop/freezer-1/air", format="number"),
    timezone=ZONE,
)
DAYS = 5


def air_c(hour: int) -> float:
    """Return a freezer at −24 °C that warms to −15 °C for an hour of each day."""
    return -15.0 if hour % 24 == 9 else -24.0


def live(writer: Writer, clock: SteppedClock, from_hour: int, to_hour: int) -> None:
    """Live through some hours, a reading each ten minutes."""
    for hour in range(from_hour, to_hour):
        batch = [
            Arrived(
                topic="shop/freezer-1/air",
                payload=str(air_c(hour)).encode(),
                arrived_ms=START_MS + hour * MS_PER_H + ten * 10 * MS_PER_MINUTE,
                retained=False,
                mid=1,
                qos=1,
                generation=1,
            )
            for ten in range(6)
        ]
        clock.move_to(batch[-1].arrived_ms)
        writer.take(batch)
        writer.journal.seal_days(ZONE, clock.now_ms())


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Return the journal of five days, of which four are sealed."""
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        clock = SteppedClock(START_MS)
        live(Writer(SHOP, opened, clock), clock, 0, DAYS * 24)
        yield opened


def spells(writer: Writer) -> tuple[Spell, ...]:
    """Return what the cold of the freezer was lost to."""
    return tuple(writer.evaluator.histories()[AIR].ended)


def change(journal: Journal, how: Callable[[dict[str, Any]], None], *, newest: int = 1000) -> None:
    """Change what is remembered, in so many of the newest checkpoints, by plain SQL."""
    with closing(sqlite3.connect(journal.path)) as outside, outside:
        for at_ms, text in outside.execute(
            "SELECT at_ms, text FROM checkpoint ORDER BY at_ms DESC LIMIT ?", (newest,)
        ).fetchall():
            plain = json.loads(text)
            how(plain)
            outside.execute(
                "UPDATE checkpoint SET text = ? WHERE at_ms = ?",
                (json.dumps(plain, separators=(",", ":")), at_ms),
            )


def drop_a_spell(plain: dict[str, Any]) -> None:
    """Take the first loss of the cold out of what is remembered."""
    del plain["ended"][:1]


def invent_a_spell(plain: dict[str, Any]) -> None:
    """Add a loss of the cold that never was."""
    if plain["ended"]:
        plain["ended"].append({**plain["ended"][-1], "peak_c": 3.0})


def begin_later(plain: dict[str, Any]) -> None:
    """Have the record begin later."""
    plain["first_ms"] += MS_PER_H


def test_sound_conclusions_are_what_the_readings_say(journal: Journal) -> None:
    """Nothing is found where nothing was changed."""
    assert len(spells(Writer(SHOP, journal, SteppedClock(START_MS + DAYS * MS_PER_DAY)))) >= DAYS
    assert journal.check_conclusions() == []


@pytest.mark.parametrize(
    ("how", "said"),
    [
        (drop_a_spell, "it lacks the spell hold:"),
        (invent_a_spell, "it holds the spell hold:"),
        (begin_later, "it does not begin with the first reading"),
    ],
)
def test_changed_conclusion_is_found_though_pages_and_seals_are_sound(
    journal: Journal, how: Callable[[dict[str, Any]], None], said: str
) -> None:
    """One spell less turns a broken hold into a proven one."""
    change(journal, how)

    assert journal.verify() == []
    assert journal.check_seals() == []
    (found,) = journal.check_conclusions()
    assert said in found
    assert "freezer-1-air" in found


def test_verify_tells_of_a_changed_conclusion(
    journal: Journal, run_verify: Callable[[Path], str]
) -> None:
    """The command says which probe, what of it, and what to do."""
    assert "What was concluded of each probe's readings is what they say" in run_verify(
        journal.path
    )
    change(journal, drop_a_spell)

    said = run_verify(journal.path)
    assert "what was concluded is not what the readings say" in said
    assert "it lacks the spell hold:" in said
    assert "it folds the readings anew" in said


@pytest.fixture
def run_verify() -> Callable[[Path], str]:
    """Return what the command says of a journal."""
    from click.testing import CliRunner

    from rimewatch.errors import UserError

    def run(path: Path) -> str:
        result = CliRunner().invoke(command, ["--journal", str(path)])
        failure = str(result.exception) if isinstance(result.exception, UserError) else ""
        return result.output + failure

    return run


@pytest.mark.parametrize("newest", [1, 10, 1000])
def test_start_concludes_what_the_readings_say_whatever_was_changed(
    journal: Journal, newest: int
) -> None:
    """In the newest, in all since the last seal, or everywhere: it is folded anew."""
    clock = SteppedClock(START_MS + DAYS * MS_PER_DAY)
    before = spells(Writer(SHOP, journal, clock))
    change(journal, drop_a_spell, newest=newest)

    writer = Writer(SHOP, journal, clock)
    assert spells(writer) == before
    live(writer, clock, DAYS * 24, DAYS * 24 + 2)
    assert journal.check_conclusions() == []


def test_start_goes_on_from_what_a_seal_proves(journal: Journal) -> None:
    """A day or two are folded again, and not the years before."""
    names = [f"track:{AIR}"]
    proven = journal.proven_checkpoints(names)
    assert proven is not None
    at_ms, text = proven[names[0]]
    now_ms = START_MS + DAYS * MS_PER_DAY
    assert now_ms - 49 * MS_PER_H < at_ms < now_ms - MS_PER_H
    assert (at_ms, text) == journal.latest_checkpoint(names[0], at_ms + 1)

    resumed = resume(SHOP, journal, now_ms, only_proven=True)
    assert resumed.unproven_ms == {names[0]: at_ms + 1}


def test_checkpoint_of_a_seal_that_was_changed_proves_nothing(journal: Journal) -> None:
    """Neither does one before it: the chain is what is believed."""
    with closing(sqlite3.connect(journal.path)) as outside, outside:
        (text,) = outside.execute(
            "SELECT sql FROM sqlite_schema WHERE name = 'seal_unchanged'"
        ).fetchone()
        outside.execute("DROP TRIGGER seal_unchanged")
        outside.execute("UPDATE seal SET text = replace(text, 'track:', 'Track:')")
        outside.execute(text)

    assert journal.proven_checkpoints([f"track:{AIR}"]) == {}


def test_journal_whose_seals_are_of_an_older_version_is_gone_on_with(journal: Journal) -> None:
    """Years are not folded anew because a new version was installed."""
    from rimewatch.journal import seals

    rows = journal.seal_rows()
    with closing(sqlite3.connect(journal.path)) as outside, outside:
        texts = dict(
            outside.execute("SELECT name, sql FROM sqlite_schema WHERE name LIKE 'seal_%ed'")
        )
        previous = rows[0].facts["previous"]
        for name in ("seal_unchanged",):
            outside.execute(f"DROP TRIGGER {name}")
        for row in rows:
            facts = {**row.facts, "previous": previous}
            facts.pop("checkpoints", None)
            text = seals.seal_text(facts)
            previous = seals.seal_over(text)
            outside.execute(
                "UPDATE seal SET text = ?, seal = ? WHERE number = ?", (text, previous, row.number)
            )
        outside.execute(texts["seal_unchanged"])

    assert journal.check_seals() == []
    assert journal.proven_checkpoints([f"track:{AIR}"]) is None


def test_clock_that_was_set_back_is_no_fault_of_the_record(journal: Journal) -> None:
    """What lies around it cannot be made again, and is left out."""
    clock = SteppedClock(START_MS + (DAYS * 24 + 3) * MS_PER_H)
    ahead = Writer(SHOP, journal, clock)
    live(ahead, clock, DAYS * 24 + 3, DAYS * 24 + 4)
    back = SteppedClock(START_MS + DAYS * 24 * MS_PER_H)
    writer = Writer(SHOP, journal, back)
    live(writer, back, DAYS * 24, DAYS * 24 + 24)

    assert journal.events_between(START_MS, back.now_ms())
    assert journal.check_conclusions() == []


def test_channel_of_many_spells_is_written_seldom_and_gone_on_with_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the tenth year each hour's checkpoint would be a megabyte of a freezer's spells."""
    monkeypatch.setattr("rimewatch.service.writer.MANY_SPELLS", 1)
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        clock = SteppedClock(START_MS)
        live(Writer(SHOP, journal, clock), clock, 0, DAYS * 24)
        written = [
            at_ms
            for (at_ms,) in journal._connection.execute("SELECT at_ms FROM checkpoint ORDER BY 1")
        ]
        recent = [at_ms for at_ms in written if at_ms > START_MS + (DAYS - 2) * MS_PER_DAY]
        clock.move_to(clock.now_ms() + MS_PER_H)
        goes_on = Writer(SHOP, journal, clock)
        goes_on.rebuild()
        others = spells(goes_on)
        journal.drop_checkpoints("track:freezer-1-air", 0)
        anew = Writer(SHOP, journal, clock)

        assert 6 <= len(recent) <= 9, "one each six hours"
        assert len({at_ms // MS_PER_DAY for at_ms in written}) == DAYS, "and one a day"
        assert journal.check_seals() == []
        assert journal.check_conclusions() == []
        assert others == spells(anew) != ()
