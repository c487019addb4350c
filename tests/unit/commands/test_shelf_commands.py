"""Putting an alarm aside from a terminal, seeing that it is, and ending it before its time."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from handmade import ONE_CONTACT, probe, shop, unit
from rimewatch.clock import SteppedClock, SystemClock
from rimewatch.commands.alarm import command
from rimewatch.entries import Unshelve
from rimewatch.errors import UserError
from rimewatch.journal.journal import Journal
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import Rule, UnitId

TABLES = (unit(), probe("fish", measures="product"), probe("lid", measures="door"), ONE_CONTACT)
SHOP = shop(*TABLES)
Say = Callable[..., str]


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give the journal of a service that has just started."""
    head = '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
    (tmp_path / "shop.toml").write_text(head + "\n".join(TABLES), encoding="utf-8")
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        take_in(opened)
        yield opened


@pytest.fixture
def say(journal: Journal) -> Say:
    """Run a command of ``alarm`` beside that journal; a user's mistake raises."""
    config = journal.path.parent / "shop.toml"

    def call(*words: str) -> str:
        where = ["--config", str(config), "--journal", str(journal.path)]
        return (
            CliRunner()
            .invoke(command, [*words, *where], catch_exceptions=False, standalone_mode=False)
            .output
        )

    return call


def take_in(journal: Journal) -> None:
    """Have the service take in what was entered."""
    Writer(SHOP, journal, SteppedClock(SystemClock().now_ms())).take(())


def test_shelf_is_listed_and_ended_by_somebody_on_the_record(journal: Journal, say: Say) -> None:
    """Whoever comes in the morning sees what is silent, and lets it be heard again."""
    say("shelve", "case-1", "door", "--minutes", "30")
    take_in(journal)
    assert "case-1: door open (case-1 door): on its shelf until" in say("list")

    told = say("unshelve", "case-1", "door", "--who", "Ines")
    take_in(journal)

    assert told == "Taken from its shelf: case-1 door. If it is still so, it is told now.\n"
    assert "on its shelf" not in say("list")
    entry = journal.entries_after(0)[-1][1]
    assert isinstance(entry, Unshelve)
    assert (entry.who, entry.unit, entry.rule) == ("Ines", UnitId("case-1"), Rule.DOOR)


def test_shelf_of_a_moment_ago_can_be_ended_before_the_service_saw_it(
    journal: Journal, say: Say
) -> None:
    """A slip is mended at once, whether or not the service is at work."""
    say("shelve", "case-1", "holding", "--minutes", "240")

    say("unshelve", "case-1", "holding")
    take_in(journal)

    assert "on its shelf" not in say("list")


def test_unshelving_what_is_on_no_shelf_names_what_is(journal: Journal, say: Say) -> None:
    """The wrong rule is told as such, and nothing is written down."""
    say("shelve", "case-1", "door", "--minutes", "30")
    take_in(journal)

    with pytest.raises(UserError, match="case-1 stale is not shelved, so nothing was changed; "):
        say("unshelve", "case-1", "stale")
    with pytest.raises(UserError, match="shelved now: case-1 door"):
        say("unshelve", "-", "power-loss")
    assert len(journal.entries_after(0)) == 1
