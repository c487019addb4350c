"""``rimewatch what-if``: the journal's own past under a changed configuration."""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.errors import UserError
from rimewatch.evaluation.mornings import local_day
from rimewatch.shop import Shop

if TYPE_CHECKING:
    from rimewatch.intake.past import Past
    from rimewatch.report.what_if import Seen

LEAD_MS: Final = 8 * 86_400_000
"""The replay begins so long before the time that counts: a hold of 168 h that ends in it has
its beginning (FDA Food Code 2022, 3-402.11(A)(1)), and estimates have settled."""


WORTH_A_PROCESS: Final = 50_000
"""So many readings take some seconds, and starting a process one."""


@click.command(
    epilog="Example:  rimewatch what-if --config shop.toml --changed new.toml "
    "--from 2026-02-01 --to 2026-03-01"
)
@config_option
@click.option(
    "--changed",
    type=click.Path(path_type=Path),
    required=True,
    help="The configuration to try, a TOML file.",
)
@journal_option
@click.option("--from", "first", required=True, help="First local day, such as 2026-02-01.")
@click.option("--to", "last", required=True, help="Last local day, included.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    config: Path, changed: Path, journal: Path, first: str, last: str, *, as_json: bool
) -> None:
    """Show what another configuration would have made of your own past.

    Replays the journal's readings and entries once under each, by the service's own code.
    Sends nothing and writes nothing; the service may go on meanwhile. A changed topic, format,
    scale or offset has no effect: readings count as they were believed.
    """
    from rimewatch.replay import EmptyTraceError
    from rimewatch.report.what_if import compare, what_if_document, what_if_text

    shop, other = load(config, sends=False), load(changed, sends=False)
    found, from_ms, to_ms = _past(journal, shop, first, last)
    with _elsewhere(changed, found) as then_made, _progress(len(found)) as on_line:
        try:
            now = _seen(shop, found, on_line)
            then = then_made()
        except EmptyTraceError:
            raise UserError(
                f"{journal} holds no reading of a configured probe from {first} to {last}; "
                "expected some under both configurations"
            ) from None
    comparison = compare(shop, now, then, from_ms, to_ms)
    notes = list(_notes(shop, other))
    if found.changed_ms:
        days = sorted({local_day(at_ms, shop.timezone).isoformat() for at_ms in found.changed_ms})
        notes.append(
            f"Settings were changed within that time ({', '.join(days)}). Both columns are made as "
            "if theirs had held throughout; the record goes by what held when."
        )
    if as_json:
        document: dict[str, Any] = what_if_document(comparison, notes)
        click.echo(json.dumps(document, indent=2, ensure_ascii=False))
    else:
        click.echo(what_if_text(shop, comparison, notes, changed=other), nl=False)


def _seen(shop: Shop, found: "Past", on_line: Callable[[int], None] | None = None) -> "Seen":
    from rimewatch.replay import replay
    from rimewatch.report.what_if import seen_in

    lines = found.lines(frozenset(shop.probe))
    return seen_in(replay(shop, lines, on_line=on_line, summaries=False).ledger)


def _seen_under(config: Path, found: "Past") -> "Seen":
    """Do the same in a process of its own, which reads the configuration itself."""
    return _seen(load(config, sends=False), found)


@contextmanager
def _elsewhere(config: Path, found: "Past") -> Iterator[Callable[[], "Seen"]]:
    """Have a configuration replayed meanwhile where that is worth a process; give its ledger."""
    if len(found) < WORTH_A_PROCESS:
        yield lambda: _seen_under(config, found)
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        yield pool.submit(_seen_under, config, found).result


def _past(journal: Path, shop: Shop, first: str, last: str) -> "tuple[Past, int, int]":
    from rimewatch.intake.past import last_reading_ms, past
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader
    from rimewatch.report.records import period_ms

    days = [_day(first, "--from"), _day(last, "--to")]
    if not journal.exists():
        raise UserError(f"there is no journal {journal}; name its file with --journal")
    try:
        with JournalReader.open(journal) as reader:
            now_ms = last_reading_ms(reader)
            if now_ms is None:
                raise UserError(f"{journal} holds no reading yet; there is no past to replay")
            try:
                from_ms, to_ms = period_ms(days[0], days[1], shop.timezone, now_ms)
            except ValueError as error:
                raise UserError(f"--from and --to: {error}, with readings in {journal}") from None
            return past(reader, from_ms - LEAD_MS, to_ms), from_ms, to_ms
    except JournalError as error:
        raise UserError(str(error)) from None


def _day(text: str, option: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UserError(f'{option} "{text}" is no date; expected one such as 2026-02-01') from None


def _notes(shop: Shop, other: Shop) -> Iterator[str]:
    """Tell of changes that a replay of stored readings cannot show."""
    for probe in shop.probes:
        changed = other.probe.get(probe.id)
        if changed is None:
            yield f"Probe {probe.id} is not in the changed configuration: it was left out there."
        elif (probe.offset_c, probe.slope, probe.scale, probe.fields) != (
            changed.offset_c,
            changed.slope,
            changed.scale,
            changed.fields,
        ):
            yield (
                f"Probe {probe.id} is read or corrected in another way in the changed "
                "configuration: that has no effect on what was stored."
            )
    for probe in other.probes:
        if probe.id not in shop.probe:
            yield f"Probe {probe.id} is only in the changed configuration."


@contextmanager
def _progress(total: int) -> Iterator[Callable[[int], None] | None]:
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("Replaying", total=total)
        lines = 0

        def on_line(_at_ms: int) -> None:
            nonlocal lines
            lines += 1
            if lines % 500 == 0:
                progress.update(task, completed=lines)

        yield on_line
