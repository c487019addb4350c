"""``rimewatch lot``: where a lot goes. Into a freezer, to thaw, into another unit."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rimewatch.commands.lot_options import CAUTION, at_option, times
from rimewatch.commands.options import (
    config_option,
    instant_ms,
    journal_option,
    load,
    who_option,
)
from rimewatch.commands.standing import enter, standing
from rimewatch.entries import MoveLot, StartFreezing, StartThawing
from rimewatch.report import wording
from rimewatch.rules.provisions import THAWING_LIMIT_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId, Option, ProbeId, UnitId

if TYPE_CHECKING:
    from rimewatch.evaluation.lot_story import LotStory


@click.command(epilog="Example:  rimewatch lot freeze L-0412 ulf-1 35C-15h --needed-by 2026-03-06")
@click.argument("lot")
@click.argument("unit")
@click.argument("option", type=click.Choice([option.value for option in Option]))
@click.option("--needed-by", help="When it must be ready, in the shop's time.")
@click.option("--probe", help="The product probe that you put into this very lot.")
@at_option
@config_option
@journal_option
@who_option
def freeze(
    lot: str,
    unit: str,
    option: str,
    *,
    needed_by: str | None,
    probe: str | None,
    at: str | None,
    config: Path,
    journal: Path,
    who: str,
) -> None:
    """Start a lot's freezing hold in a unit, by one of the freezing options."""
    from rimewatch.report.lot_standing import NO_FOOD_CODE_OPTION

    shop = load(config, sends=False)
    needed_by_ms = None if needed_by is None else instant_ms(needed_by, shop)
    entry = StartFreezing(
        **times(at, shop),
        who=who,
        lot=LotId(lot),
        unit=UnitId(unit),
        option=Option(option),
        needed_by_ms=needed_by_ms,
        probe=None if probe is None else ProbeId(probe),
    )
    enter(shop, journal, entry)
    click.echo(f"{lot}: freezing in {unit} by {option}. The count starts when the cold is proven.")
    if entry.option is Option.F20C_24H:
        click.echo(NO_FOOD_CODE_OPTION)
    if needed_by_ms is not None:
        click.echo("Whether it will be ready in time: rimewatch lot plan.")


@click.command(epilog="Example:  rimewatch lot thaw L-0412 walk-in")
@click.argument("lot")
@click.argument("unit")
@at_option
@config_option
@journal_option
@who_option
def thaw(lot: str, unit: str, at: str | None, config: Path, journal: Path, who: str) -> None:
    """Enter that a lot was put to thaw under refrigeration."""
    from rimewatch.report.lot_page import ROP_REMINDER

    shop = load(config, sends=False)
    entry = StartThawing(**times(at, shop), who=who, lot=LotId(lot), unit=UnitId(unit))
    story = _story(shop, journal, entry.lot, enter(shop, journal, entry))
    click.echo(
        f"{lot}: thawing in {unit}, at {wording.published_limit(THAWING_LIMIT_C)} or below "
        "(FDA Food Code 2022, 3-501.13)."
    )
    if story.entries.received is not None and story.entries.received.rop:
        click.echo(ROP_REMINDER)
    _warn(shop, story)
    click.echo(CAUTION)


@click.command(epilog="Example:  rimewatch lot move L-0412 case-1")
@click.argument("lot")
@click.argument("unit")
@at_option
@config_option
@journal_option
@who_option
def move(lot: str, unit: str, at: str | None, config: Path, journal: Path, who: str) -> None:
    """Enter that a lot was put into another unit."""
    shop = load(config, sends=False)
    entry = MoveLot(**times(at, shop), who=who, lot=LotId(lot), unit=UnitId(unit))
    story = _story(shop, journal, entry.lot, enter(shop, journal, entry))
    click.echo(f"{lot}: moved to {unit}.")
    if not shop.unit[entry.unit].kind.is_freezer:
        _warn(shop, story)
        click.echo(CAUTION)


def _story(shop: Shop, journal: Path, lot: LotId, number: int) -> "LotStory":
    """Return a lot as it stood before the entry that puts it elsewhere."""
    from rimewatch.evaluation.lot_book import book
    from rimewatch.evaluation.lot_story import tell

    with standing(shop, journal) as now:
        shop = now.evaluator.shop  # with what held before
        known = [*now.evaluator.entries, *now.waiting]
        before = book([entry for entry in known if entry.entry_number < number])[lot]
        return tell(shop, now.journal, now.evaluator.histories(), before, now.now_ms)


def _warn(shop: Shop, story: "LotStory") -> None:
    """Say what speaks against serving a lot that goes where fish is served from."""
    from rimewatch.report.lot_standing import lot_words

    for said in lot_words(shop, story).at_the_counter:
        click.echo(said)
