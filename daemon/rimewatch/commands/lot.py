"""``rimewatch lot``: receive, freeze, move, withdraw and list lots."""

from pathlib import Path
from typing import Any

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.group import CommandGroup
from rimewatch.commands.options import (
    config_option,
    instant_ms,
    journal_option,
    known_unit,
    load,
    who_option,
)
from rimewatch.commands.standing import enter, known_lot, standing
from rimewatch.entries import MoveLot, ReceiveLot, StartFreezing, WithdrawLot
from rimewatch.errors import UserError
from rimewatch.shop import Shop
from rimewatch.vocabulary import Kind, LotId, Option, Origin, UnitId

CAUTION = (
    "A record is not a guarantee of safety. The person in charge decides; local codes and the "
    "licensed authority come first."
)


at_option = click.option(
    "--at", help="When, in the shop's time, such as 2026-03-02T21:30.  [default: now]"
)


def _times(at: str | None, shop: Shop) -> dict[str, Any]:
    """Return when something was done, and when it was entered if that was later."""
    now_ms = SystemClock().now_ms()
    if at is None:
        return {"at_ms": now_ms}
    given_ms = instant_ms(at, shop)
    if given_ms > now_ms:
        raise UserError(f"--at {at} is in the future; an entry says what was done")
    return {"at_ms": given_ms, "entered_ms": now_ms}


def _freezing_unit(shop: Shop, unit: str) -> UnitId:
    found = shop.unit[UnitId(known_unit(shop, unit))]
    if found.kind not in (Kind.FREEZER, Kind.ULTRA_LOW_FREEZER):
        freezers = [u.id for u in shop.units if u.kind in (Kind.FREEZER, Kind.ULTRA_LOW_FREEZER)]
        raise UserError(
            f"{unit} is a {found.kind.value} and freezes nothing; "
            f"expected one of {', '.join(freezers) or 'none: the shop has no freezer'}"
        )
    return found.id


@click.group(cls=CommandGroup, epilog="Example:  rimewatch lot list --config shop.toml --raw-ready")
def command() -> None:
    """Follow lots from receiving through their freezing hold to the case."""


@command.command(
    "receive",
    epilog="Example:  rimewatch lot receive L-0412 --species 'Oncorhynchus nerka' --origin wild "
    "--celsius 1.2 --thickness-mm 35",
)
@click.argument("lot")
@click.option("--species", required=True, help="Common or scientific name; the exact species.")
@click.option(
    "--origin",
    required=True,
    type=click.Choice([origin.value for origin in Origin]),
    help="farmed-pellet asserts that the supplier's written statement is on file.",
)
@click.option("--statement", default="", help="Reference of the supplier's written statement.")
@click.option("--cooked-only", is_flag=True, help="None of it is served raw.")
@click.option("--celsius", type=float, help="Temperature at receipt, °C.")
@click.option("--fahrenheit", type=float, help="Temperature at receipt, °F.")
@click.option("--thickness-mm", type=click.FloatRange(min=0, min_open=True))
@click.option("--kilograms", type=click.FloatRange(min=0, min_open=True))
@click.option("--supplier", default="")
@click.option("--supplier-reference", default="", help="The supplier's own lot number.")
@at_option
@config_option
@journal_option
@who_option
def receive(  # noqa: PLR0917 (each is an option)
    lot: str,
    species: str,
    origin: str,
    statement: str,
    cooked_only: bool,  # noqa: FBT001 (a flag)
    celsius: float | None,
    fahrenheit: float | None,
    thickness_mm: float | None,
    kilograms: float | None,
    supplier: str,
    supplier_reference: str,
    at: str | None,
    config: Path,
    journal: Path,
    who: str,
) -> None:
    """Enter a lot that came in, and say what it needs."""
    from rimewatch.lots.needs import needs_of

    if celsius is not None and fahrenheit is not None:
        raise UserError("--celsius and --fahrenheit are both given; give one of them")
    if fahrenheit is not None:
        celsius = round((fahrenheit - 32.0) * 5.0 / 9.0, 3)
    shop = load(config, sends=False)
    entry = ReceiveLot(
        **_times(at, shop),
        who=who,
        lot=LotId(lot),
        species=species,
        origin=Origin(origin),
        serve_raw=not cooked_only,
        thickness_mm=thickness_mm,
        celsius=celsius,
        kilograms=kilograms,
        supplier=supplier,
        supplier_reference=supplier_reference,
        statement=statement,
    )
    enter(journal, entry)
    need = needs_of(entry)
    click.echo(f"{lot} received. {need.why}")
    if need.receipt_too_warm:
        click.echo("It came in above 5 °C (41 °F): refuse it (FDA Food Code 2022, 3-202.11(A)).")
    for hazard in need.remaining_hazards:
        click.echo(hazard)
    if need.statement_missing:
        click.echo("No statement is recorded; give its reference with --statement.")
    click.echo(CAUTION)


@command.command("freeze", epilog="Example:  rimewatch lot freeze L-0412 ulf-1 35C-15h")
@click.argument("lot")
@click.argument("unit")
@click.argument("option", type=click.Choice([option.value for option in Option]))
@at_option
@config_option
@journal_option
@who_option
def freeze(
    lot: str, unit: str, option: str, at: str | None, config: Path, journal: Path, who: str
) -> None:
    """Start a lot's freezing hold in a unit, by an option of the Food Code."""
    shop = load(config, sends=False)
    enter(
        journal,
        StartFreezing(
            **_times(at, shop),
            who=who,
            lot=known_lot(journal, lot),
            unit=_freezing_unit(shop, unit),
            option=Option(option),
        ),
    )
    click.echo(f"{lot}: freezing in {unit} by {option}. The count starts when the cold is proven.")


@command.command("move", epilog="Example:  rimewatch lot move L-0412 case-1")
@click.argument("lot")
@click.argument("unit")
@at_option
@config_option
@journal_option
@who_option
def move(lot: str, unit: str, at: str | None, config: Path, journal: Path, who: str) -> None:
    """Enter that a lot was put into another unit."""
    shop = load(config, sends=False)
    enter(
        journal,
        MoveLot(
            **_times(at, shop),
            who=who,
            lot=known_lot(journal, lot),
            unit=UnitId(known_unit(shop, unit)),
        ),
    )
    click.echo(f"{lot}: moved to {unit}.")


@command.command("withdraw", epilog="Example:  rimewatch lot withdraw L-0412 --reason 'sold out'")
@click.argument("lot")
@click.option("--reason", required=True, help="Sold out, used cooked, discarded…")
@at_option
@config_option
@journal_option
@who_option
def withdraw(lot: str, reason: str, at: str | None, config: Path, journal: Path, who: str) -> None:
    """Enter that a lot is gone."""
    shop = load(config, sends=False)
    known = known_lot(journal, lot)
    enter(journal, WithdrawLot(**_times(at, shop), who=who, lot=known, reason=reason))
    click.echo(f"{lot}: withdrawn ({reason}).")


@command.command("list", epilog="Example:  rimewatch lot list --config shop.toml --raw-ready")
@click.option("--raw-ready", is_flag=True, help="Only lots whose proof is complete.")
@config_option
@journal_option
def list_lots(raw_ready: bool, config: Path, journal: Path) -> None:  # noqa: FBT001 (a flag)
    """List lots: where each is, and how far its freezing hold has come."""
    from zoneinfo import ZoneInfo

    from rimewatch.evaluation.lot_book import book
    from rimewatch.evaluation.lot_story import tell
    from rimewatch.report.wording import local_moment

    shop = load(config, sends=False)
    zone = ZoneInfo(shop.timezone)
    with standing(shop, journal) as now:
        histories = now.evaluator.histories()
        stories = [
            tell(shop, now.journal, histories, lot, now.now_ms)
            for lot in book(now.evaluator.entries).values()
        ]
    shown = [s for s in stories if s.state != "withdrawn" and (not raw_ready or s.raw_ready)]
    for story in shown:
        species = "unknown" if story.entries.received is None else story.entries.received.species
        where = story.entries.unit or "nowhere yet"
        hold = story.hold
        if hold is None:
            progress = "no freezing hold"
        elif hold.completed_ms is not None:
            progress = f"complete {local_moment(round(hold.completed_ms), zone)}"
        elif hold.expected_ms is None:
            progress = f"0 of {hold.required_h:g} h, the cold has not begun"
        else:
            progress = (
                f"{hold.credited_h:.1f} of {hold.required_h:g} h, complete "
                f"{local_moment(round(hold.expected_ms), zone)} if the cold holds"
            )
        verdict = "may be served raw" if story.raw_ready else "not raw"
        click.echo(f"{story.lot} {species}, {where}: {verdict}; {progress}")
    if not shown:
        click.echo("No lot's proof is complete." if raw_ready else "No lot is on the books.")
    click.echo(CAUTION)
