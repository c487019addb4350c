"""``rimewatch lot``: what a lot is. Received, corrected, with its statements, gone."""

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from rimewatch.commands.lot_options import CAUTION, at_option, fahrenheit_or_celsius, times
from rimewatch.commands.options import config_option, journal_option, load, who_option
from rimewatch.commands.standing import enter, look_at, standing
from rimewatch.entries import (
    AttachStatement,
    CancelEntry,
    CorrectLot,
    ReceiveLot,
    WithdrawLot,
)
from rimewatch.errors import UserError
from rimewatch.report import wording
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId, Option, Origin, States

ORIGINS = click.Choice([origin.value for origin in Origin])
MORE_THAN_NOTHING = click.FloatRange(min=0, min_open=True)
STATEMENT = "Reference of the supplier's written statement."
THEIR_NUMBER = "The supplier's own lot number."


def measured_at_receipt(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options about what was measured when a lot came in."""
    for option in (
        click.option("--kilograms", type=MORE_THAN_NOTHING, help="Weight, kg."),
        click.option("--thickness-mm", type=MORE_THAN_NOTHING, help="Of the thickest part, mm."),
        click.option("--fahrenheit", type=float, help="Temperature at receipt, °F."),
        click.option("--celsius", type=float, help="Temperature at receipt, °C."),
    ):
        command = option(command)
    return command


@click.command(
    epilog="Example:  rimewatch lot receive L-0412 --species 'Oncorhynchus nerka' --origin wild "
    "--celsius 1.2 --thickness-mm 35",
)
@click.argument("lot")
@click.option("--species", required=True, help="Common or scientific name; the exact species.")
@click.option(
    "--origin",
    required=True,
    type=ORIGINS,
    help="farmed-pellet asserts that the supplier's written statement is on file.",
)
@click.option("--statement", default="", help=STATEMENT)
@click.option("--cooked-only", is_flag=True, help="None of it is served raw.")
@click.option("--rop", is_flag=True, help="Vacuum-packed (reduced oxygen packaging).")
@measured_at_receipt
@click.option("--supplier", default="", help="Who sold it.")
@click.option("--supplier-reference", default="", help=THEIR_NUMBER)
@at_option
@config_option
@journal_option
@who_option
def receive(
    lot: str,
    species: str,
    origin: str,
    at: str | None,
    config: Path,
    journal: Path,
    who: str,
    **said: Any,  # noqa: ANN401 (click gives each option by its name)
) -> None:
    """Enter a lot that came in; say what it needs and what the freezers can do for it."""
    from rimewatch.lots.codes import law_of
    from rimewatch.lots.needs import needs_of
    from rimewatch.lots.own_species import own_species
    from rimewatch.report.lot_standing import receiving_paragraph

    shop = load(config, sends=False)
    celsius = fahrenheit_or_celsius(said.pop("celsius"), said.pop("fahrenheit"))
    statement = said.pop("statement")
    if origin == Origin.FARMED_PELLET and not statement and asks():
        statement = click.prompt(
            "Reference of the supplier's written statement on its feed (empty: none yet)",
            default="",
            show_default=False,
        )
    cooked_only = said.pop("cooked_only")
    entry = ReceiveLot(
        **times(at, shop),
        who=who,
        lot=LotId(lot),
        species=species,
        origin=Origin(origin),
        serve_raw=not cooked_only,
        celsius=celsius,
        statement=statement,
        **said,
    )
    enter(shop, journal, entry)
    need = needs_of(entry, extra_species=own_species(shop.species), law=law_of(shop.code))
    click.echo(f"{lot} received. {need.why}")
    if need.receipt_too_warm:
        limit = wording.published_limit(need.receipt_limit_c)
        where = receiving_paragraph(need.receipt_limit_c)
        click.echo(f"It came in above {limit}: refuse it (FDA Food Code 2022, {where}).")
    for hazard in need.remaining_hazards:
        click.echo(hazard)
    if need.statement_missing:
        click.echo("No statement is recorded; attach it with rimewatch lot attach.")
    if need.needs_destruction:
        show_prospects(shop, journal, entry)
    click.echo(CAUTION)


def asks() -> bool:
    """Return whether somebody is there to be asked."""
    return sys.stdin.isatty()


def show_prospects(shop: Shop, journal: Path, entry: ReceiveLot) -> None:
    """Print what the freezers can do for a lot that is put into one now."""
    from zoneinfo import ZoneInfo

    from rimewatch.evaluation.lot_outlook import prospects_for
    from rimewatch.report.freezing_words import prospect_lines

    with standing(shop, journal) as now:
        shop = now.evaluator.shop  # with what held before
        found = prospects_for(shop, now.journal, now.evaluator.histories(), entry, now.now_ms)
    units = {unit.id: unit.name for unit in shop.units}
    lines = list(prospect_lines(found, units, ZoneInfo(shop.timezone), shop.display))
    click.echo("Begun now, by what the freezers did lately, and only if the cold holds:")
    for line in lines or ["No freezer here is measured; nothing can be proven."]:
        click.echo(f"  {line}")


@click.command(
    epilog="Example:  rimewatch lot correct L-0412 --thickness-mm 40 --reason 'measured again'"
)
@click.argument("lot")
@click.option("--reason", required=True, help="Why it is corrected.")
@click.option("--species", help="Common or scientific name; the exact species.")
@click.option("--origin", type=ORIGINS, help="Where it is from.")
@click.option(
    "--serve-raw/--cooked-only", default=None, help="Some of it is served raw, or none of it."
)
@click.option("--rop/--no-rop", default=None, help="Vacuum-packed, or not.")
@measured_at_receipt
@click.option("--supplier", help="Who sold it.")
@click.option("--supplier-reference", help=THEIR_NUMBER)
@click.option("--statement", help=STATEMENT)
@click.option(
    "--confirm-start",
    "confirms_start",
    is_flag=True,
    default=None,
    help="Its freezing did begin when it was entered to have, though entered long after.",
)
@at_option
@config_option
@journal_option
@who_option
def correct(
    lot: str,
    reason: str,
    at: str | None,
    config: Path,
    journal: Path,
    who: str,
    **said: Any,  # noqa: ANN401 (click gives each option by its name)
) -> None:
    """Correct what was said of a lot at its receipt; what was said before stays on record."""
    shop = load(config, sends=False)
    said["celsius"] = fahrenheit_or_celsius(said["celsius"], said.pop("fahrenheit"))
    changed = {name: value for name, value in said.items() if value is not None}
    if "origin" in changed:
        changed["origin"] = Origin(changed["origin"])
    enter(
        shop,
        journal,
        CorrectLot(**times(at, shop), who=who, lot=LotId(lot), reason=reason, **changed),
    )
    click.echo(f"{lot}: corrected ({', '.join(changed)}).")


@click.command(
    epilog="Example:  rimewatch lot attach L-0412 statement.pdf --reference F-77 "
    "--states freezing --option 35C-15h"
)
@click.argument("lot")
@click.argument("file", required=False, type=click.Path(path_type=Path, exists=True))
@click.option("--reference", required=True, help="What the statement is called.")
@click.option(
    "--states",
    required=True,
    type=click.Choice([states.value for states in States]),
    help="freezing: it stands in place of freezing here (3-402.12(B)); feed: of farmed fish.",
)
@click.option(
    "--option",
    type=click.Choice([option.value for option in Option]),
    help="The freezing that it states.",
)
@at_option
@config_option
@journal_option
@who_option
def attach(  # noqa: PLR0917 (each is an option)
    lot: str,
    file: Path | None,
    reference: str,
    states: str,
    option: str | None,
    at: str | None,
    config: Path,
    journal: Path,
    who: str,
) -> None:
    """Put a supplier's written statement on file; without FILE it is kept on paper."""
    from rimewatch.journal.attachments import AttachmentError, folder_of, keep

    shop = load(config, sends=False)
    entry = AttachStatement(
        **times(at, shop),
        who=who,
        lot=LotId(lot),
        reference=reference,
        states=States(states),
        option=None if option is None else Option(option),
    )
    sha256 = ""
    if file is not None:
        look_at(shop, journal, entry)  # before a file is kept for it
        try:
            name, sha256 = keep(journal, file)
        except AttachmentError as error:
            raise UserError(str(error)) from None
        entry = replace(entry, file=name, sha256=sha256)
    enter(shop, journal, entry)
    where = "kept on paper" if file is None else f"kept in {folder_of(journal)} as {sha256}"
    click.echo(f"{lot}: statement {reference} on {states} is on file, {where}.")
    if states == States.FREEZING:
        click.echo(
            "The lot counts as frozen by its supplier (FDA Food Code 2022, 3-402.12(B)). Read the "
            "statement: it must name a temperature and a time of 3-402.11."
        )
    click.echo(CAUTION)


@click.command(epilog="Example:  rimewatch lot withdraw L-0412 --reason 'sold out'")
@click.argument("lot")
@click.option("--reason", default="", help="Sold out, used cooked, discarded…")
@at_option
@config_option
@journal_option
@who_option
def withdraw(lot: str, reason: str, at: str | None, config: Path, journal: Path, who: str) -> None:
    """Enter that a lot is gone, and say how long its record must be kept."""
    from rimewatch.evaluation.mornings import local_day
    from rimewatch.lots.retention import keep_until

    shop = load(config, sends=False)
    entry = WithdrawLot(**times(at, shop), who=who, lot=LotId(lot), reason=reason)
    enter(shop, journal, entry)
    last = keep_until(local_day(entry.at_ms, shop.timezone), keep_days=shop.keep_days)
    because = f" ({reason})" if reason else ""
    click.echo(f"{lot}: withdrawn{because}. Its record is to be kept through {last}.")


@click.command("cancel", epilog="Example:  rimewatch lot cancel 17 --reason 'the wrong lot'")
@click.argument("number", type=click.IntRange(min=1))
@click.option("--reason", required=True, help="Why it does not count.")
@at_option
@config_option
@journal_option
@who_option
def cancel(number: int, reason: str, at: str | None, config: Path, journal: Path, who: str) -> None:
    """Cancel an entry about a lot by its number on the lot's record; both stay on record."""
    shop = load(config, sends=False)
    enter(shop, journal, CancelEntry(**times(at, shop), who=who, number=number, reason=reason))
    click.echo(f"Entry {number} does not count any more ({reason}).")
