"""What the command line says: help with an example everywhere, one sentence for each slip."""

import re
from importlib import import_module
from pathlib import Path

import click
import pytest

from rimewatch import cli
from rimewatch.cli import COMMANDS, every_command, rimewatch

ROOT = Path(__file__).parents[3]


def module_of(name: str) -> object:
    return import_module(f"rimewatch.commands.{name.replace('-', '_')}")


PATHS = [path for path, _ in every_command()]


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch) -> int:
    """Run the command line as the shell does; return its exit code."""
    monkeypatch.setattr("sys.argv", ["rimewatch", *arguments])
    monkeypatch.delenv("RIMEWATCH_CONFIG", raising=False)
    monkeypatch.delenv("RIMEWATCH_JOURNAL", raising=False)
    with pytest.raises(SystemExit) as ended:
        cli.main()
    return 0 if ended.value.code is None else int(str(ended.value.code))


@pytest.mark.parametrize("path", PATHS)
def test_help_of_each_command_has_an_example_that_names_it(
    path: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever does not know how looks at --help, and finds a line to copy."""
    assert run([*path.split(), "--help"], monkeypatch) == 0

    said = " ".join(capsys.readouterr().out.split())
    assert re.search(rf"Example: rimewatch {path}\b", said), said


def test_command_that_exists_is_listed_and_described(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The first help names every command there is."""
    assert run(["--help"], monkeypatch) == 0

    said = capsys.readouterr().out
    for name in COMMANDS:
        assert f"  {name} " in said


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["runn"], 'rimewatch: there is no command "runn"; did you mean run? '),
        (["xyzzy"], 'rimewatch: there is no command "xyzzy"; expected one of demo, '),
        (
            ["lot", "recieve"],
            'rimewatch lot: there is no command "recieve"; did you mean receive? ',
        ),
        (["unit", "list"], "rimewatch unit list: Missing option '--config'"),
        (["check"], "rimewatch: no configuration given; name it with --config FILE"),
        (["check", "--config", "nowhere.toml"], "rimewatch: nowhere.toml: can't be read"),
        (["run", "--config"], "rimewatch: Option '--config' requires an argument"),
        (
            ["run", "--confg", "x"],
            "rimewatch run: No such option '--confg'. Did you mean '--config'? Help",
        ),
        (["demo", "--speed", "0"], "rimewatch demo: Invalid value for '--speed': 0.0 is not in"),
        (["demo", "--out", "/proc/nowhere"], "rimewatch: /proc/nowhere cannot be written"),
        (["verify", "--journal", "nowhere.db"], "rimewatch: there is no journal nowhere.db yet"),
        (["verify", "--journal", "/"], "rimewatch: / is a folder"),
        (["backup", "--journal", "nowhere.db", "x"], "rimewatch: there is no journal nowhere.db"),
    ],
)
def test_slip_is_one_sentence_on_standard_error(
    arguments: list[str],
    sentence: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What is wrong, and what would be right, on one line; exit code 2."""
    assert run(arguments, monkeypatch) == 2

    captured = capsys.readouterr()
    assert captured.out == ""
    last = captured.err.removeprefix("Preparing the night ...\n")
    assert last.startswith(sentence)
    assert last.count("\n") == 1


def test_commands_in_the_readme_exist() -> None:
    """Each command that the README shows is one that can be typed."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8").replace("\\\n", " ")
    shown = set(re.findall(r"(?<![-\w])rimewatch ([a-z]+(?:-[a-z]+)*)(?: ([a-z]+))?", readme))
    typed = {
        (command, sub)
        for command, sub in shown
        if command in COMMANDS or f".venv/bin/rimewatch {command}" in readme
    }

    assert {command for command, _ in typed} >= {"run", "check", "unit", "alarm", "lot"}
    for command, sub in typed:
        assert command in COMMANDS
        found = module_of(command).command  # type: ignore[attr-defined]
        if isinstance(found, click.Group) and sub:
            assert sub in found.commands, f"rimewatch {command} {sub}"


def test_group_without_a_command_shows_its_help() -> None:
    """`rimewatch` alone is a question, not a mistake to be scolded for."""
    with pytest.raises(click.exceptions.NoArgsIsHelpError):
        rimewatch.main([], standalone_mode=False)
