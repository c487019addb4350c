"""The journal's own past, replayed under the configuration of today and one to try."""

import io
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rimewatch.cli import rimewatch
from rimewatch.config import load_shop
from rimewatch.intake.past import past
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.trace import TraceEntry, TraceMessage, read_trace
from rimewatch.journal import Journal, JournalReader
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.report.wording import local_zone
from rimewatch_sim.library import load_scenario
from rimewatch_sim.simulation import simulate
from rimewatch_sim.trace import write_lines

pytestmark = pytest.mark.integration

EXAMPLE = (Path(__file__).parents[2] / "config" / "saltmarsh-row.toml").read_text("utf-8")
SHOP = load_shop(EXAMPLE, sends=False)


@pytest.fixture(scope="module")
def trace() -> list[TraceMessage | TraceEntry]:
    """Give the night in which a compressor fails."""
    text = io.StringIO()
    write_lines(simulate(load_scenario("compressor-failure")).lines(), text)
    return list(read_trace(io.BytesIO(text.getvalue().encode())))


@pytest.fixture(scope="module")
def folder(
    trace: list[TraceMessage | TraceEntry], tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """Give a folder with a journal of that night, and the configuration of the shop."""
    folder = tmp_path_factory.mktemp("what-if")
    (folder / "now.toml").write_text(EXAMPLE, encoding="utf-8")
    receiver = Receiver(SHOP)
    with Journal.open(folder / "rimewatch.db") as journal, journal.batch():
        for line in trace:
            if isinstance(line, TraceEntry):
                journal.add_entry(line.entry, "trace")
            else:
                journal.add_readings(
                    receiver.receive(line.topic, line.payload, line.at_ms).readings
                )
    return folder


def what_if(
    folder: Path, changed: str, trace: list[TraceMessage | TraceEntry], *more: str
) -> Result:
    """Run the command over the days of the trace."""
    (folder / "new.toml").write_text(changed, encoding="utf-8")
    first, last = (
        local_zone(line.at_ms, SHOP.timezone).date().isoformat() for line in (trace[0], trace[-1])
    )
    return CliRunner().invoke(
        rimewatch,
        [
            "what-if",
            *("--config", str(folder / "now.toml"), "--changed", str(folder / "new.toml")),
            *("--journal", str(folder / "rimewatch.db"), "--from", first, "--to", last),
            *more,
        ],
    )


def test_past_out_of_the_journal_raises_the_alarms_of_the_trace(
    folder: Path, trace: list[TraceMessage | TraceEntry]
) -> None:
    """What is tried out is what happened: the same alarms and the same excursions."""
    with JournalReader.open(folder / "rimewatch.db") as reader:
        found = past(reader, 0, trace[-1].at_ms)
    again = ledger_document(
        replay(SHOP, found.lines(frozenset(SHOP.probe)), summaries=False).ledger
    )
    first = ledger_document(replay(SHOP, trace, summaries=False).ledger)

    assert first["alarms"]
    assert again["alarms"] == first["alarms"]
    assert again["messages"] == first["messages"]
    assert again["units"] == first["units"]


def test_what_if_of_the_same_configuration_finds_no_difference(
    folder: Path, trace: list[TraceMessage | TraceEntry]
) -> None:
    """The same file twice gives the same figures, and writes nothing."""
    before = {path.name: path.read_bytes() for path in folder.glob("*.db")}
    done = what_if(folder, EXAMPLE, trace, "--json")

    assert done.exit_code == 0, done.output
    document = json.loads(done.stdout)
    assert document["same"]
    assert document["now"] == document["changed"]
    assert document["now"]["raised"] > 0
    assert {path.name: path.read_bytes() for path in folder.glob("*.db")} == before


def test_what_if_of_a_limit_that_hides_the_failure_names_what_was_missed(
    folder: Path, trace: list[TraceMessage | TraceEntry]
) -> None:
    """Nobody is woken, and it is said which warm fish that would have cost."""
    lax = re.sub(
        r"(?m)^limit_c = [0-9.]+.*$", 'limit_c = 25.0\nlaxer_because = "to be tried"', EXAMPLE
    )
    assert lax != EXAMPLE
    done = what_if(folder, lax, trace)

    assert done.exit_code == 0, done.output
    assert "of a critical limit was missed" in done.stdout
    assert "Missed: " in done.stdout
    assert "The person in charge decides" in done.stdout


def test_what_if_without_a_past_says_so(tmp_path: Path) -> None:
    """A journal that is not there, or has no reading, is one sentence."""
    (tmp_path / "a.toml").write_text(EXAMPLE, encoding="utf-8")
    common = [
        *("what-if", "--config", str(tmp_path / "a.toml"), "--changed", str(tmp_path / "a.toml")),
        *("--journal", str(tmp_path / "j.db"), "--from", "2026-02-01", "--to", "2026-02-02"),
    ]
    absent = CliRunner().invoke(rimewatch, common)
    Journal.open(tmp_path / "j.db").close()
    empty = CliRunner().invoke(rimewatch, common)

    assert "there is no journal" in str(absent.exception)
    assert "holds no reading yet" in str(empty.exception)


def test_what_if_over_many_readings_replays_the_other_in_a_process_of_its_own(
    folder: Path, trace: list[TraceMessage | TraceEntry], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A month takes half the time, and says the same to the letter."""
    changed = re.sub(r"(?m)^limit_c = 5.0.*$", "limit_c = 4.5", EXAMPLE)
    alone = what_if(folder, changed, trace, "--json")
    monkeypatch.setattr("rimewatch.commands.what_if.WORTH_A_PROCESS", 0)
    together = what_if(folder, changed, trace, "--json")

    assert together.exit_code == 0, together.output
    assert json.loads(together.stdout) == json.loads(alone.stdout)
    assert not json.loads(together.stdout)["same"]
