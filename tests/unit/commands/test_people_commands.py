"""The command that says who may sign in, and which programs may read."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from rimewatch.clock import SystemClock
from rimewatch.commands.people import command
from rimewatch.errors import UserError
from rimewatch.journal.journal import Journal
from rimewatch.web.people import People, Role, TokenScope, people_path

CONFIG = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
summary_at = "06:30"

[broker]
url = "mqtt://127.0.0.1:1883"

[web]
url = "https://rime.example.com"

[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"

[[probe]]
id = "air"
unit = "case-1"
measures = "air"
topic = "air"
"""


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """Return the path of a journal that is there."""
    path = tmp_path / "rimewatch.db"
    Journal.open(path).close()
    return path


def said(journal: Path, *words: str) -> str:
    """Return what a command prints."""
    result = CliRunner().invoke(
        command, [*words, "--journal", str(journal)], catch_exceptions=False, standalone_mode=False
    )
    if result.exception is not None:
        raise result.exception
    return result.output


def test_person_is_added_by_a_link_that_gives_the_role(journal: Path, tmp_path: Path) -> None:
    """Nobody but its holder ever knows the password."""
    config = tmp_path / "shop.toml"
    config.write_text(CONFIG)
    text = said(journal, "add", "Ana", "--role", "act", "--config", str(config))
    found = re.search(r"https://rime\.example\.com/set-up/(\S+)", text)
    assert found is not None, text

    invited = People(people_path(journal)).invitation(found[1], SystemClock().now_ms())
    assert invited is not None
    assert (invited.name, invited.role) == ("Ana", Role.ACT)


def test_token_is_printed_once_and_made_void(journal: Path) -> None:
    """The list names it, without its secret."""
    secret = said(journal, "token", "screen", "--scope", "read").strip()
    people = People(people_path(journal))

    assert people.scopes_of(secret) == {TokenScope.READ}
    listed = said(journal, "list")
    assert "token screen: read" in listed
    assert secret not in listed
    said(journal, "token", "screen", "--remove")
    assert people.scopes_of(secret) == frozenset()


def test_unknown_person_cannot_be_removed(journal: Path) -> None:
    """A slip of the keyboard is told."""
    with pytest.raises(UserError, match='nobody is called "Anna"'):
        said(journal, "remove", "Anna")


def test_people_of_a_journal_that_is_not_there_are_refused(tmp_path: Path) -> None:
    """No file is made beside nothing."""
    with pytest.raises(UserError, match="there is no journal"):
        said(tmp_path / "nowhere.db", "list")
    assert list(tmp_path.iterdir()) == []
