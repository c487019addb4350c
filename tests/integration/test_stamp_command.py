"""A day's seal is stamped by an authority outside, and the stamp is held against the journal."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from rimewatch.clock import SystemClock
from rimewatch.commands.stamp import command
from rimewatch.errors import UserError
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.readings import Reading
from rimewatch.service.stamps import place_of
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId
from stamp_authority import StampAuthority

pytestmark = pytest.mark.integration

START_MS = 1_772_409_600_000  # 2026-03-02T00:00:00Z
START = date(2026, 3, 2)


@pytest.fixture
def authority(tmp_path: Path) -> Iterator[StampAuthority]:
    """Give one that stamps."""
    with StampAuthority(tmp_path / "authority") as found:
        yield found


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """Return a journal with one sealed day."""
    path = tmp_path / "rimewatch.db"
    make(path)
    return path


def make(path: Path, value: float = 1.5) -> None:
    """Write a journal with a reading an hour, and seal its day."""
    with Journal.open(path) as opened:
        opened.add_readings(
            [
                Reading(
                    probe=ProbeId("fish"),
                    observed_ms=START_MS + hour * MS_PER_H,
                    arrived_ms=START_MS + hour * MS_PER_H,
                    raw=value,
                    value=value,
                )
                for hour in range(24)
            ]
        )
        assert opened.seal_days("UTC", START_MS + MS_PER_DAY + 2 * MS_PER_H) == 1


def run(journal: Path, authority: StampAuthority, *more: str, url: bool = True) -> str:
    """Run the command; a user's mistake raises."""
    where = ["--url", authority.url] if url else ["--check"]
    done = CliRunner().invoke(
        command,
        ["--journal", str(journal), "--authority", str(authority.root), *where, *more],
        standalone_mode=False,
    )
    if done.exception is not None:
        raise done.exception
    return done.output


def seal(journal: Path) -> str:
    """Return the last day's seal."""
    with JournalReader.open(journal) as reader:
        row = reader.latest_seal()
        assert row is not None
        return row.seal


def only_stamp(journal: Path) -> Path:
    """Return the one stamp's file."""
    (found,) = (journal.parent / "stamps").iterdir()
    return found


def test_seal_is_stamped_once_and_any_tool_can_check_it(
    journal: Path, authority: StampAuthority
) -> None:
    """OpenSSL takes the stamp for one of the seal's text (RFC 3161)."""
    before_ms = SystemClock().now_ms() - 2000
    said = run(journal, authority)

    assert "the seal of 2026-03-02 was there at 2" in said
    assert only_stamp(journal).name == "2026-03-02.tsr"
    assert only_stamp(journal).stat().st_mode & 0o777 == 0o600
    assert authority.verifies(only_stamp(journal), seal(journal))
    assert not authority.verifies(only_stamp(journal), seal(journal)[:-1] + "x")
    assert "stamp already" in run(journal, authority)
    assert len(authority.asked) == 1
    checked = run(journal, authority, url=False)
    assert checked.startswith("2026-03-02: this seal was there at ")
    assert before_ms < SystemClock().now_ms()


def test_record_that_was_made_anew_does_not_fit_its_stamp(
    journal: Path, authority: StampAuthority
) -> None:
    """What whoever owns the machine can do: every page and every seal is sound, and yet."""
    run(journal, authority)
    for end in ("", "-wal", "-shm"):
        journal.with_name(f"rimewatch.db{end}").unlink(missing_ok=True)
    make(journal, value=1.4)
    with JournalReader.open(journal) as reader:
        assert reader.verify() == []
        assert reader.check_seals() == []

    with pytest.raises(UserError, match="does not hold"):
        run(journal, authority, url=False)


def test_stamp_of_another_authority_is_not_believed(
    journal: Path, authority: StampAuthority, tmp_path: Path
) -> None:
    """Anybody can make one; neither when it comes, nor later."""
    with StampAuthority(tmp_path / "somebody") as somebody:
        with pytest.raises(UserError, match="does not hold"):
            run(journal, authority, "--url", somebody.url)
        assert not (journal.parent / "stamps").exists()
        run(journal, somebody)

    with pytest.raises(UserError, match="does not hold"):
        run(journal, authority, url=False)


def test_answer_of_yesterday_is_not_taken_for_todays(
    journal: Path, authority: StampAuthority
) -> None:
    """Each question has a number that its answer bears (RFC 3161, 2.4.1, nonce)."""
    kept: list[bytes] = []

    def first_again(answer: bytes) -> bytes:
        kept.append(answer)
        return kept[0]

    authority.changes_answer = first_again
    run(journal, authority)
    only_stamp(journal).unlink()

    with pytest.raises(UserError, match="Nonce mismatch"):
        run(journal, authority)


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda _: b"", id="nothing"),
        pytest.param(lambda _: b"<html>", id="a page"),
        pytest.param(lambda answer: answer[: len(answer) // 2], id="half of it"),
        pytest.param(lambda answer: answer[:-40] + bytes(40), id="changed"),
        pytest.param(lambda answer: answer + bytes(200_000), id="far too much"),
    ],
)
def test_answer_that_is_no_stamp_is_one_clear_sentence(
    journal: Path, authority: StampAuthority, change: object
) -> None:
    """The seal stands without one, and it is tried again."""
    authority.changes_answer = change  # type: ignore[assignment]

    with pytest.raises(UserError, match=r"The seal itself stands; try again") as told:
        run(journal, authority)

    assert "\n" not in str(told.value)
    assert not place_of(journal, START).exists()


def test_authority_that_is_not_reached_is_one_clear_sentence(
    journal: Path, authority: StampAuthority
) -> None:
    """Nothing is written."""
    with pytest.raises(UserError, match="is not reached"):
        run(journal, authority, "--url", "http://127.0.0.1:9/")
    with pytest.raises(UserError, match="is no address"):
        run(journal, authority, "--url", "ftp://127.0.0.1/")


def test_stamp_of_a_day_without_a_seal_is_told(journal: Path, authority: StampAuthority) -> None:
    """A file that nobody's record goes with."""
    run(journal, authority)
    only_stamp(journal).rename(journal.parent / "stamps" / "2026-03-09.tsr")

    with pytest.raises(UserError, match="no seal of that day"):
        run(journal, authority, url=False)


def test_journal_without_a_seal_has_nothing_to_be_stamped(
    tmp_path: Path, authority: StampAuthority
) -> None:
    """A day is sealed an hour after its end."""
    path = tmp_path / "new.db"
    with Journal.open(path):
        pass
    with pytest.raises(UserError, match="no day is sealed yet"):
        run(path, authority)
    with pytest.raises(UserError, match="holds no stamp"):
        run(path, authority, url=False)


def test_certificate_that_is_none_is_one_clear_sentence(
    journal: Path, authority: StampAuthority, tmp_path: Path
) -> None:
    """The file's name and what was expected."""
    (tmp_path / "none.pem").write_text("no certificate")
    with pytest.raises(UserError, match="expected the authority's certificate"):
        run(journal, authority, "--authority", str(tmp_path / "none.pem"))
    with closing(sqlite3.connect(journal)) as unchanged:
        assert unchanged.execute("SELECT count(*) FROM seal").fetchone() == (1,)
