"""``rimewatch records``: the record of a period, as CSV, JSON and PDF."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.commands.standing import Standing, standing
from rimewatch.errors import UserError
from rimewatch.shop import Shop

if TYPE_CHECKING:
    from rimewatch.report.records import Kept, Records

FORMATS: Final = ("csv", "json", "pdf")


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
    from rimewatch.report.records_tables import csv_files, json_text

    shop = load(config, sends=False)
    wanted = formats or FORMATS
    with standing(shop, journal) as now:
        records = _records(shop, now, _day(first, "--from"), _day(last, "--to"))
        name = f"record-{records.first}-to-{records.last}"
        written: dict[str, str | bytes] = {}
        if "csv" in wanted:
            written |= {f"{name}/{file}": text for file, text in csv_files(records).items()}
        if "json" in wanted:
            written[f"{name}.json"] = json_text(records)
        if "pdf" in wanted:
            written[f"{name}.pdf"] = _pdf(shop, now, records)
    _write(out, written)
    if records.open_excursions:
        count = len(records.open_excursions)
        noun = "excursion has" if count == 1 else "excursions have"
        click.echo(
            f"{count} {noun} no corrective action on record; enter it with rimewatch unit note."
        )


def _write(out: Path, written: dict[str, str | bytes]) -> None:
    from rimewatch.commands.files import write_whole

    for file, content in written.items():
        write_whole(out / file, content)
    size = sum(len(content) for content in written.values())
    click.echo(f"{len(written)} files in {out}, {size / 1e6:.1f} MB.", err=True)


def _day(text: str, option: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UserError(f'{option} "{text}" is no date; expected one such as 2026-03-01') from None


def _records(shop: Shop, now: Standing, first: date, last: date) -> "Records":
    from rimewatch.report.records import build_records, period_ms
    from rimewatch.service.resume import account_of

    try:
        from_ms, to_ms = period_ms(first, last, shop.timezone, now.now_ms)
    except ValueError as error:
        raise UserError(f"--from and --to: {error}") from None
    return build_records(
        shop,
        now.journal,
        account_of(now.journal, now.evaluator, from_ms, to_ms),
        now.evaluator.histories(),
        _kept(shop, now, from_ms, to_ms),
        first=first,
        last=last,
        now_ms=now.now_ms,
    )


def _kept(shop: Shop, now: Standing, from_ms: int, to_ms: int) -> "Kept":
    from rimewatch.report.records import Happening, Kept, SealedDay
    from rimewatch.report.temperature_log import Range

    return Kept(
        happenings=[
            Happening(at_ms=row.at_ms, what=row.what, detail=row.detail)
            for row in now.journal.events_between(from_ms, to_ms)
        ],
        seals=[
            SealedDay(day=row.day, seal=row.seal)
            for row in now.journal.seal_rows()
            if row.kind == "day"
        ],
        ranges={
            probe.id: [
                Range(from_ms=item.from_ms, low_c=item.lowest, high_c=item.highest)
                for item in now.journal.hour_ranges(probe.id, from_ms, to_ms)
            ]
            for unit in shop.units
            for probe in shop.governing_probes(unit.id)[:1]
        },
    )


def _pdf(shop: Shop, now: Standing, records: "Records") -> bytes:
    from rimewatch.report.period_chart import period_chart_png
    from rimewatch.report.records_pdf import records_pdf

    charts = {}
    for facts in records.facts.units:
        png = period_chart_png(
            shop,
            now.journal,
            facts.unit,
            from_ms=records.from_ms,
            to_ms=records.to_ms,
            zone=records.facts.zone,
            gaps=facts.gaps,
        )
        if png is not None:
            charts[facts.unit.id] = png
    return records_pdf(records, charts, paper=shop.paper)
