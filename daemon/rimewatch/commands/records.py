"""``rimewatch records``: the record of a period, as CSV, JSON and PDF."""

import sys
from datetime import date
from pathlib import Path

import click

from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.commands.standing import standing
from rimewatch.errors import UserError
from rimewatch.service.records import FORMATS, write_record


@click.command(
    epilog="Example:  rimewatch records --config shop.toml --from 2026-03-01 --to 2026-03-31 "
    "--out march/\n\nOnly on paper:  rimewatch records --config shop.toml --from 2026-03-01 "
    "--to 2026-03-31 --out march/ --format pdf"
)
@config_option
@journal_option
@click.option("--from", "first", required=True, help="First local day, such as 2026-03-01.")
@click.option("--to", "last", required=True, help="Last local day, included.")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder to write to.")
@click.option(
    "--format",
    "formats",
    type=click.Choice(FORMATS),
    multiple=True,
    help="May be given again.  [default: all of them]",
)
def command(
    config: Path, journal: Path, first: str, last: str, out: Path, formats: tuple[str, ...]
) -> None:
    """Write the record that an inspector asks for.

    Temperatures by unit every four hours, excursions and corrective actions, freezing by lot,
    who was told and who answered, probe checks, and changes of the configuration.
    """
    shop = load(config, sends=False)
    first_day, last_day = _day(first, "--from"), _day(last, "--to")
    with standing(shop, journal) as now:
        try:
            record = write_record(
                shop,
                now.journal,
                now.evaluator,
                first=first_day,
                last=last_day,
                now_ms=now.now_ms,
                formats=formats or FORMATS,
                progress=_show if sys.stderr.isatty() else None,
            )
        except ValueError as error:
            raise UserError(f"--from and --to: {error}") from None
    _write(out, record.files)
    if record.open_excursions:
        count = record.open_excursions
        noun = "excursion has" if count == 1 else "excursions have"
        click.echo(
            f"{count} {noun} no corrective action on record; enter it with rimewatch unit note."
        )


def _show(step: str) -> None:
    """Show what is being done, in place of what was: a record of a year takes some seconds."""
    click.echo(f"\r\x1b[K{step} …", nl=False, err=True)


def _write(out: Path, written: dict[str, str | bytes]) -> None:
    from rimewatch.commands.files import write_whole

    for file, content in written.items():
        write_whole(out / file, content)
    if sys.stderr.isatty():
        click.echo("\r\x1b[K", nl=False, err=True)
    size = sum(len(content) for content in written.values())
    click.echo(f"{len(written)} files in {out}, {size / 1e6:.1f} MB.", err=True)


def _day(text: str, option: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UserError(f'{option} "{text}" is no date; expected one such as 2026-03-01') from None
