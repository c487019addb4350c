"""The commands beside a running service, and the replay of a trace, as processes."""

import io
import json
import re
import shlex
import sys
from collections.abc import Iterator
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest.mock import patch

import jsonschema
import pytest

from mosquitto_broker import Mosquitto
from rimewatch.cli import main
from rimewatch.clock import SystemClock
from rimewatch.rules.provisions import PROVISIONS
from service_process import Probes, ServiceProcess, run_command, until

pytestmark = pytest.mark.integration

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "config" / "saltmarsh-row.toml"


@dataclass(frozen=True)
class Done:
    """What came of a command."""

    code: int
    out: str
    err: str


def typed(*arguments: str | Path, stdin: bytes = b"") -> Done:
    """Run the command line within this process, which spares its start."""
    out, err = io.StringIO(), io.StringIO()
    with (
        patch.object(sys, "argv", ["rimewatch", *map(str, arguments)]),
        patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin))),
        redirect_stdout(out),
        redirect_stderr(err),
        pytest.raises(SystemExit) as ended,
    ):
        main()
    return Done(int(str(ended.value.code or 0)), out.getvalue(), err.getvalue())


def said(*arguments: str | Path) -> str:
    """Run a command that must do well, and return what it says."""
    done = typed(*arguments)
    assert done.code == 0, done.err
    return done.out


def refused(*arguments: str | Path, stdin: bytes = b"") -> str:
    """Run a command that must be refused in one sentence, and return that."""
    done = typed(*arguments, stdin=stdin)
    assert done.code == 2, done.err
    assert done.err.startswith("rimewatch")
    assert done.err.count("\n") == 1
    return done.err


class TestBesideARunningService:
    @pytest.fixture
    def service(self, tmp_path: Path, mosquitto: Mosquitto) -> Iterator[ServiceProcess]:
        """Give a running service of the example shop whose front case is too warm."""
        text = EXAMPLE.read_text(encoding="utf-8")
        text = text.replace("mqtt://127.0.0.1:1883", mosquitto.url)
        config = tmp_path / "shop.toml"
        config.write_text(text.replace("json://127.0.0.1:9000", "json://127.0.0.1:1"))
        with (
            ServiceProcess(config, tmp_path / "rimewatch.db") as service,
            Probes(mosquitto.port) as probes,
        ):
            service.wait_for("Listening")
            now = datetime.fromtimestamp(SystemClock().now_ms() / 1000, tz=UTC)
            at = [(now - timedelta(minutes=minute)).isoformat() for minute in range(90)][::-1]
            payloads = [f'{{"t": 11.0, "ts": "{moment}"}}' for moment in at]
            probes.publish("shop/case-1/air", payloads)
            service.wait_for_readings("case-1-air", 90)
            yield service
            assert service.stop() == 0, service.said
            assert "Traceback" not in service.said

    def test_alarm_is_listed_and_acknowledged_by_its_name_only(
        self, service: ServiceProcess
    ) -> None:
        """A wrong unit at three in the morning is told as such: the right alarm rings on."""
        at = ("--config", service.config, "--journal", service.journal)

        listed = said("alarm", "list", *at)
        assert "fish too warm (case-1 holding): high priority, not acknowledged yet" in listed
        sentence = refused("alarm", "acknowledge", "walk-in", "holding", *at)
        assert "nothing was acknowledged; on now: " in sentence
        assert "case-1 holding" in sentence
        assert "not acknowledged yet" in said("alarm", "list", *at)

        assert "Acknowledged: case-1 holding" in said(
            "alarm", "acknowledge", "case-1", "holding", *at
        )
        until(
            lambda: "(case-1 holding): high priority, acknowledged" in said("alarm", "list", *at),
            "the service to take the entry in",
        )
        said("unit", "note", "case-1", "Fish moved to the walk-in.", *at)
        said("alarm", "shelve", "case-1", "door", "--minutes", "30", *at)
        said("alarm", "unshelve", "case-1", "door", *at)
        assert "(case-1): fish" in said("unit", "list", *at)

    def test_lot_is_followed_and_a_misspelt_one_is_not_begun(self, service: ServiceProcess) -> None:
        """An entry for a lot that is not there would be on nobody's list."""
        at = ("--config", service.config, "--journal", service.journal)
        receive = (
            "lot",
            "receive",
            "L-0412",
            "--species",
            "Oncorhynchus nerka",
            "--origin",
            "wild",
        )

        assert "not a guarantee" in said(*receive, "--celsius", "1.0", *at)
        sentence = refused("lot", "freeze", "L-0421", "ulf-1", "35C-15h", *at)
        assert "did you mean L-0412?" in sentence
        sentence = refused("lot", "freeze", "L-0412", "case-1", "35C-15h", *at)
        assert "freezes nothing; expected one of freezer-1, ulf-1" in sentence
        said("lot", "freeze", "L-0412", "ulf-1", "35C-15h", *at)
        said("lot", "move", "L-0412", "walk-in", *at)
        assert "L-0412 Oncorhynchus nerka" in said("lot", "list", *at)
        said("lot", "withdraw", "L-0412", "--reason", "sold out", *at)

        assert 'there is no unit "cellar"' in refused("lot", "move", "L-0412", "cellar", *at)
        assert "in the future" in refused(
            "lot", "move", "L-0412", "case-1", "--at", "2099-01-01", *at
        )
        assert "is no time" in refused("lot", "move", "L-0412", "case-1", "--at", "noon", *at)
        assert '"celsius" is nan' in refused(*receive, "--celsius", "nan", *at)
        assert '"species" is " "' in refused(
            "lot", "receive", "L-2", "--species", " ", "--origin", "wild", *at
        )

    def test_summary_verification_and_backup_need_no_pause(
        self, service: ServiceProcess, tmp_path: Path
    ) -> None:
        """All of it works while readings come in, and the copy is a journal of its own."""
        at = ("--config", service.config, "--journal", service.journal)
        copy, page = tmp_path / "copy.db", tmp_path / "summary.html"

        assert "Saltmarsh Row Fish" in said("summary", *at, "--html", page)
        assert page.read_text(encoding="utf-8").lower().startswith("<!doctype html>")
        assert "there is no summary of 2020-01-01" in refused("summary", "--day", "2020-01-01", *at)
        assert "sound" in said("verify", "--journal", service.journal)
        assert "checked and sound" in said("backup", "--journal", service.journal, copy)
        assert "sound" in said("verify", "--journal", copy)

    def test_entry_into_a_journal_that_is_not_there_is_refused(self, tmp_path: Path) -> None:
        """A mistyped --journal must not begin a second book that nobody reads."""
        wrong = tmp_path / "rimewach.db"

        refused("unit", "note", "case-1", "x", "--config", EXAMPLE, "--journal", wrong)

        assert not wrong.exists()


@pytest.fixture
def trace() -> bytes:
    """Give three hours over a morning summary."""
    lines = [
        {
            "at": f"2026-03-02T{11 + minute // 60:02}:{minute % 60:02}:00Z",
            "topic": "shop/case-1/air",
            "payload": json.dumps({"t": 2.0 + minute / 60}),
        }
        for minute in range(180)
    ]
    return b"".join(json.dumps(line).encode() + b"\n" for line in lines)


class TestReplay:
    def test_trace_from_standard_input_gives_the_same_bytes_as_from_a_file(
        self, tmp_path: Path, trace: bytes
    ) -> None:
        """From a file or a pipe, in one process or the next: one trace, one ledger."""
        file = tmp_path / "night.jsonl"
        file.write_bytes(trace)
        runs: list[tuple[str | Path, bytes]] = [("-", trace), (file, b"")]
        written = []
        for number, (source, stdin) in enumerate(runs):
            out = tmp_path / f"out-{number}"
            arguments = ("replay", "--config", EXAMPLE, "--trace", source, "--out", out)
            done = run_command(*arguments, stdin=stdin)
            assert done.returncode == 0, done.stderr.decode()
            written.append({path.name: path.read_bytes() for path in sorted(out.iterdir())})

        assert written[0] == written[1]
        assert {"ledger.json", "summary-2026-03-02.html", "summary-2026-03-02.txt"} <= set(
            written[0]
        )

    def test_ledger_has_the_promised_keys(self, tmp_path: Path, trace: bytes) -> None:
        """Other programs are written against them."""
        arguments = ("replay", "--config", EXAMPLE, "--trace", "-", "--out", tmp_path)
        done = typed(*arguments, stdin=trace)
        assert done.code == 0, done.err
        ledger = json.loads((tmp_path / "ledger.json").read_text(encoding="utf-8"))

        keys = {"from", "to", "quarantined", "units", "alarms", "messages", "lots"}
        assert keys <= ledger.keys()
        unit_keys = {
            "readings",
            "missing_s",
            "min_c",
            "max_c",
            "mean_c",
            "kinetic_c",
            "above_limit_s",
            "governing_above_limit_s",
            "excursions",
        }
        assert unit_keys <= ledger["units"]["case-1"].keys()
        assert ledger["units"]["case-1"]["readings"] == 180

    @pytest.mark.parametrize(
        ("stdin", "expected"),
        [
            (b"", "standard input: the trace has no line"),
            (b"\n\n", "standard input: the trace has no line"),
            (b"\x7fELF\x02\x01\x00", "standard input: line 1: not a whole JSON object"),
            (b'{"at": "noon", "topic": "a", "payload": ""}\n', "line 1: \"at\" is 'noon'"),
            (b"[1]\n", "line 1: not a JSON object"),
        ],
    )
    def test_trace_that_is_none_is_refused(
        self, tmp_path: Path, stdin: bytes, expected: str
    ) -> None:
        """With its line and what is wrong there; nothing is written."""
        out = tmp_path / "out"
        arguments = ("replay", "--config", EXAMPLE, "--trace", "-", "--out", out)

        assert expected in refused(*arguments, stdin=stdin)
        assert not out.exists()

    def test_output_that_cannot_be_written_is_refused(self, tmp_path: Path, trace: bytes) -> None:
        """A file where the folder should be is told, after the work, without a traceback."""
        (tmp_path / "file").write_text("")
        arguments = ("replay", "--config", EXAMPLE, "--trace", "-", "--out", tmp_path / "file")

        assert "cannot be written" in refused(*arguments, stdin=trace)


class TestCheck:
    def test_schema_is_a_json_schema(self) -> None:
        """An editor can complete the configuration by it."""
        schema = json.loads(said("check", "--schema"))

        jsonschema.validators.validator_for(schema).check_schema(schema)
        assert {"shop", "broker", "unit", "probe"} <= schema["properties"].keys()

    def test_every_published_limit_is_listed_with_its_source(self) -> None:
        """Whoever asks why 41 °F is told where it is written."""
        listed = said("check", "--provisions")

        for provision in PROVISIONS.values():
            assert f"{provision.id}: " in listed
        assert "3-402.11" in listed


def readme_commands() -> list[str]:
    """Return the README's command lines that only look: a demo, a broker or sudo is not started."""
    text = (ROOT / "README.md").read_text(encoding="utf-8").replace("\\\n", " ")
    blocks = re.findall(r"```sh\n(.*?)```", text, flags=re.DOTALL)
    lines = [line.strip() for block in blocks for line in block.splitlines()]
    inline = re.findall(r"`(\.venv/bin/rimewatch[^`]*)`", text)
    return [line for line in [*lines, *inline] if line.startswith(".venv/bin/rimewatch ")]


@pytest.mark.parametrize("line", readme_commands())
def test_command_line_of_the_readme_is_understood(line: str, tmp_path: Path) -> None:
    """What a newcomer copies is no mistake: it may lack a journal, but not an option."""
    words = shlex.split(line.split("#", maxsplit=1)[0])[1:]
    words = [str(EXAMPLE) if word == "shop.toml" else word for word in words]
    if words[0] in ("run", "init"):  # one never ends, the other asks questions
        words.append("--help")

    with chdir(tmp_path):
        done = typed(*words)

    assert done.code == 0 or "there is no journal" in done.err, done.err
