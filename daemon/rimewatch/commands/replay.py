"""``rimewatch replay``: a trace through the service's own code, without broker or network."""

import sys
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import BinaryIO

import click

from rimewatch.commands.files import write_whole
from rimewatch.commands.options import config_option, load
from rimewatch.errors import UserError


@click.command(
    epilog="Example:  rimewatch replay --config config/saltmarsh-row.toml --trace night.jsonl "
    "--out night/\n\nA trace from elsewhere:  rimewatch-sim trace quiet-night --out - | "
    "rimewatch replay --config config/saltmarsh-row.toml --trace - --out night/"
)
@config_option
@click.option("--trace", required=True, help="JSON lines of what arrived; - reads standard input.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="Folder for ledger.json and summary-YYYY-MM-DD.txt and .html.",
)
def command(config: Path, trace: str, out: Path) -> None:
    """Evaluate a trace and write its ledger and morning summaries.

    Needs no broker and no network and sends nothing. The same input gives the same bytes.
    """
    from rimewatch.instants import iso
    from rimewatch.intake.decoders import UnusableProbe
    from rimewatch.intake.trace import TraceError, read_trace
    from rimewatch.replay import EmptyTraceError, replay
    from rimewatch.report.ledger_json import ledger_text

    shop = load(config, sends=False)
    with ExitStack() as stack:
        file = _opened(trace, stack)
        on_line = _progress(file, trace, stack)
        try:
            done = replay(
                shop,
                read_trace(file),
                on_line=on_line,
                source=config.name,
                folder=config.parent,
            )
        except (TraceError, EmptyTraceError) as error:
            name = "standard input" if trace == "-" else trace
            raise UserError(f"{name}: {error}") from None
        except UnusableProbe as error:
            raise UserError(str(error)) from None
    write_whole(out / "ledger.json", ledger_text(done.ledger))
    for day, morning in sorted(done.mornings.items()):
        write_whole(out / f"summary-{day.isoformat()}.txt", morning.text)
        write_whole(out / f"summary-{day.isoformat()}.html", morning.html)
    summaries = len(done.mornings)
    click.echo(
        f"{out / 'ledger.json'} and {summaries} {'summary' if summaries == 1 else 'summaries'} "
        f"({iso(done.ledger.from_ms)} to {iso(done.ledger.to_ms)}).",
        err=True,
    )


def _opened(trace: str, stack: ExitStack) -> BinaryIO:
    if trace == "-":
        return sys.stdin.buffer
    try:
        return stack.enter_context(Path(trace).open("rb"))
    except OSError as error:
        raise UserError(f"the trace {trace} cannot be read: {error.strerror or error}") from None


def _progress(file: BinaryIO, trace: str, stack: ExitStack) -> Callable[[int], None] | None:
    """Return what to call for each line; a bar only where somebody watches a long file."""
    if trace == "-" or not sys.stderr.isatty():
        return None
    size = Path(trace).stat().st_size
    if size < 1_000_000:
        return None
    from rich.console import Console
    from rich.progress import Progress

    progress = stack.enter_context(Progress(console=Console(stderr=True), transient=True))
    task = progress.add_task("Replaying", total=size)
    lines = 0

    def on_line(_at_ms: int) -> None:
        nonlocal lines
        lines += 1
        if lines % 500 == 0:
            progress.update(task, completed=file.tell())

    return on_line
