"""The command ``rimewatch-sim``: list scenarios, write their traces, play them to a broker."""

import json
import os
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import IO, Any, Final

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from rimewatch_sim.labels import labels_of
from rimewatch_sim.library import load_scenario, names
from rimewatch_sim.player import Player
from rimewatch_sim.player import Progress as Played
from rimewatch_sim.publisher import MqttPublisher, PublishError
from rimewatch_sim.random_weeks import random_weeks
from rimewatch_sim.scenario import ScenarioError
from rimewatch_sim.simulation import Simulation, simulate
from rimewatch_sim.timeline import utc_text
from rimewatch_sim.trace import TraceError, TraceLine, read_lines, write_lines

_MOST_PER_S: Final = 500.0
"""So that no broker has to drop what its subscribers are too slow for (measured: at ten
thousand a second a common broker with a queue of 1000 dropped some, acknowledged)."""


def _example(arguments: str) -> str:
    return f"\b\nExample:\n    rimewatch-sim {arguments}"  # \b: click leaves the lines alone


class _Refusal(click.ClickException):
    """A user's mistake: one sentence on stderr, exit code 2."""


def main() -> None:
    """Run the command; every mistake of the user's is one sentence on stderr and exit code 2."""
    try:
        code = cli.main(standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        sys.exit(2)
    except click.ClickException as error:
        click.echo(f"rimewatch-sim: {error.format_message()}", err=True)
        sys.exit(2)
    except click.Abort:
        click.echo("rimewatch-sim: interrupted", err=True)
        sys.exit(130)
    sys.exit(code if isinstance(code, int) else 0)


@contextmanager
def _refusing() -> Iterator[None]:
    try:
        yield
    except (ScenarioError, TraceError, PublishError) as error:
        raise _Refusal(str(error)) from None
    except BrokenPipeError:
        # whoever read our output has enough; nothing further may be written at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise click.exceptions.Exit(0) from None
    except OSError as error:
        raise _Refusal(f"{error.filename}: {error.strerror}") from None


@click.group(
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=_example("scenarios"),
)
def cli() -> None:
    """Simulate the cold of a shop: units, probes, nights that go wrong."""


@cli.command(epilog=_example("scenarios"))
def scenarios() -> None:
    """List the shipped scenarios, one a line."""
    with _refusing():
        found = [load_scenario(name) for name in names()]
        width = max(len(scenario.name) for scenario in found)
        for scenario in found:
            click.echo(f"{scenario.name:<{width}}  {scenario.about}")


@cli.command(epilog=_example("trace night-at-saltmarsh-row --out night.jsonl --labels truth.json"))
@click.argument("scenario", metavar="NAME|FILE.toml")
@click.option("--out", default="-", metavar="FILE", help="Where to; - is standard output.")
@click.option("--seed", type=click.IntRange(min=0), help="In place of the scenario's own.")
@click.option("--labels", metavar="FILE", help="Write the ground truth there as JSON.")
def trace(scenario: str, out: str, seed: int | None, labels: str | None) -> None:
    """Write a scenario's trace: JSON lines in order of arrival."""
    with _refusing():
        simulation = simulate(load_scenario(scenario), seed=seed)
        if labels is not None:
            with _replacing(labels) as file:
                _write_labels(simulation, file)
        if out == "-":
            write_lines(simulation.lines(), sys.stdout)
            sys.stdout.flush()
        else:
            with _replacing(out) as file:
                write_lines(simulation.lines(), file)


@cli.command(epilog=_example("play busy-saturday --broker mqtt://127.0.0.1:1883 --speed 120"))
@click.argument("source", metavar="NAME|FILE.toml|FILE.jsonl")
@click.option(
    "--broker", default="mqtt://127.0.0.1:1883", show_default=True, metavar="URL", help="Where to."
)
@click.option(
    "--speed",
    type=click.FloatRange(min=0, min_open=True),
    default=60.0,
    show_default=True,
    help="Seconds of the trace in one second.",
)
@click.option("--seed", type=click.IntRange(min=0), help="In place of the scenario's own.")
@click.option("--rush", is_flag=True, help="Do not keep pace: 500 messages a second.")
def play(source: str, broker: str, speed: float, seed: int | None, *, rush: bool) -> None:
    """Publish a scenario or a trace to a broker, at QoS 1. Entries of people are left out."""
    with _refusing():
        lines, rush_until_ms = _lines_of(source, seed=seed)
        if not lines:
            raise TraceError(f"{source}: has no lines; there is nothing to play")
        stop = threading.Event()
        with MqttPublisher(broker) as publisher, _ctrl_c_sets(stop), _bar(lines) as on_progress:
            played = Player(lines).play(
                publisher.publish,
                speed=None if rush else speed,
                rush_until_ms=rush_until_ms,
                most_per_s=_MOST_PER_S,
                on_progress=on_progress,
                stop=stop,
            )
    ended = "stopped after" if played.stopped else "published"
    left_out = played.entries_left_out
    click.echo(f"{ended} {played.messages} messages, {left_out} entries left out", err=True)
    if played.stopped:
        raise click.exceptions.Exit(130)  # as the shell names an end by Ctrl-C


@cli.command(epilog=_example("weeks --seed 100 --count 20 --out weeks"))
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="The first.")
@click.option("--count", type=click.IntRange(min=1), default=1, show_default=True)
@click.option("--out", required=True, metavar="FOLDER", help="Where to; made if it is not there.")
def weeks(seed: int, count: int, out: str) -> None:
    """Write weeks of chance, one a seed: week-SEED.jsonl and its truth, week-SEED.truth.json."""
    with _refusing():
        folder = Path(out)
        folder.mkdir(parents=True, exist_ok=True)
        for scenario in random_weeks(seed, count):
            simulation = simulate(scenario)
            with _replacing(str(folder / f"{scenario.name}.truth.json")) as file:
                _write_labels(simulation, file)
            with _replacing(str(folder / f"{scenario.name}.jsonl")) as file:
                write_lines(simulation.lines(), file)
            click.echo(f"{scenario.name}  {scenario.about}")


def _write_labels(simulation: Simulation, file: IO[str]) -> None:
    json.dump(labels_of(simulation), file, indent=1, ensure_ascii=False)
    file.write("\n")


def _lines_of(source: str, *, seed: int | None) -> tuple[list[TraceLine], int | None]:
    """Return the lines to play, and until when to rush through them."""
    if not source.endswith(".jsonl"):
        scenario = load_scenario(source)
        return simulate(scenario, seed=seed).lines(), scenario.story_ms
    if seed is not None:
        raise TraceError("--seed goes with a scenario; a trace has its numbers already")
    with Path(source).open(encoding="utf-8") as file:
        try:
            return list(read_lines(file, source=source)), None
        except UnicodeDecodeError:
            raise TraceError(f"{source}: is not UTF-8 text") from None


@contextmanager
def _bar(lines: list[TraceLine]) -> Iterator[Any]:
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal) as progress:
        task = progress.add_task(utc_text(lines[0].at_ms), total=len(lines))

        def on_progress(now: Played) -> None:
            if now.done % 10 == 0 or now.done == len(lines):
                whole_second_ms = now.at_ms // 1000 * 1000
                progress.update(task, completed=now.done, description=utc_text(whole_second_ms))

        yield on_progress


@contextmanager
def _ctrl_c_sets(stop: threading.Event) -> Iterator[None]:
    def handle(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    before = signal.signal(signal.SIGINT, handle)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _replacing(path: str) -> Iterator[IO[str]]:
    """Write a file whole or not at all."""
    target = Path(path)
    if target.is_dir():
        raise _Refusal(f"{path} is a folder; name a file in it")
    if not target.parent.is_dir():
        raise _Refusal(f"{path}: there is no folder {target.parent} to write it in")
    if target.exists() and not target.is_file():  # a device or pipe cannot be replaced
        with target.open("w", encoding="utf-8") as file:
            yield file
        return
    with tempfile.NamedTemporaryFile(
        "w", encoding="utf-8", dir=target.parent, prefix=f".{target.name}.", delete=False
    ) as made:
        try:
            yield made
            made.flush()
            os.fsync(made.fileno())
            Path(made.name).chmod(0o644)
            Path(made.name).replace(target)
        except BaseException:
            Path(made.name).unlink(missing_ok=True)
            raise
