"""The command rimewatch-sim, as a person meets it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from rimewatch_sim import cli, names

SMALL = """
name = "small"
about = "Two hours, for a test."
shop = "saltmarsh-row"
start = "2026-03-02T20:00"
lasts = "2h"
"""


def command(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str
) -> tuple[int, str, str]:
    """Run the command as the shell would and return code, output and errors."""
    monkeypatch.setattr(sys, "argv", ["rimewatch-sim", *arguments])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


@pytest.mark.parametrize("arguments", [[], ["scenarios"], ["trace"], ["play"], ["weeks"]])
def test_command_has_help_with_an_example(arguments: list[str]) -> None:
    """Whoever asks for help sees a line to copy."""
    result = CliRunner().invoke(cli.cli, [*arguments, "--help"])

    assert result.exit_code == 0
    assert "Example:\n      rimewatch-sim " in result.output


def test_scenarios_lists_each_with_what_it_is_about(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line each."""
    code, out, _ = command(monkeypatch, capsys, "scenarios")

    assert code == 0
    assert [line.split()[0] for line in out.splitlines()] == names()
    assert all(len(line.split()) > 4 for line in out.splitlines())


def test_trace_writes_file_and_truth(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A trace and its ground truth, from a scenario file of one's own."""
    (tmp_path / "small.toml").write_text(SMALL)
    code, out, err = command(
        monkeypatch,
        capsys,
        "trace",
        str(tmp_path / "small.toml"),
        "--out",
        str(tmp_path / "small.jsonl"),
        "--labels",
        str(tmp_path / "truth.json"),
        "--seed",
        "9",
    )

    assert (code, out, err) == (0, "", "")
    lines = (tmp_path / "small.jsonl").read_text().splitlines()
    assert len(lines) > 1000
    assert json.loads((tmp_path / "truth.json").read_text())["seed"] == 9
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "small.jsonl",
        "small.toml",
        "truth.json",
    ]


def test_trace_to_standard_output_is_the_trace_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It can be piped into a replay."""
    (tmp_path / "small.toml").write_text(SMALL)
    code, out, err = command(monkeypatch, capsys, "trace", str(tmp_path / "small.toml"))

    assert (code, err) == (0, "")
    assert all("at" in json.loads(line) for line in out.splitlines())


def test_trace_into_a_pipe_that_closes_early_ends_quietly(tmp_path: Path) -> None:
    """Looking at the first lines only is no error."""
    (tmp_path / "small.toml").write_text(SMALL)
    program = "from rimewatch_sim.cli import main; main()"
    with subprocess.Popen(
        [sys.executable, "-c", program, "trace", str(tmp_path / "small.toml")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline().startswith(b'{"at"')
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(30) == 0


def test_weeks_writes_traces_and_truths(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A week of chance has its truth beside it."""
    folder = tmp_path / "weeks"
    code, out, _ = command(monkeypatch, capsys, "weeks", "--seed", "5", "--out", str(folder))

    assert code == 0
    assert out.startswith("week-5 ")
    assert sorted(path.name for path in folder.iterdir()) == ["week-5.jsonl", "week-5.truth.json"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["trace", "no-such"], 'there is no scenario "no-such"'),
        (["trace", "quiet-night", "--out", "/no-such-folder/x"], "no folder /no-such-folder"),
        (["trace", "quiet-night", "--seed", "-4"], "--seed"),
        (["play", "/no-such.jsonl"], "/no-such.jsonl: No such file"),
        (["play", "quiet-night", "--speed", "0"], "--speed"),
        (["play", "quiet-night", "--broker", "http://127.0.0.1"], "expected one such as mqtt://"),
        (["play", "quiet-night", "--broker", "mqtt://127.0.0.1:1"], "no broker answers at"),
        (["nonsense"], "nonsense"),
        (["trace"], "NAME|FILE.toml"),
    ],
)
def test_mistake_is_one_sentence_on_stderr_and_code_two(
    arguments: list[str],
    says: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """No traceback for a user's mistake."""
    code, out, err = command(monkeypatch, capsys, *arguments)

    assert (code, out) == (2, "")
    assert says in err
    assert err.startswith("rimewatch-sim: ")
    assert err.count("\n") == 1
