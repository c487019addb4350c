"""``rimewatch unit``: how each unit is, taking one out of service, noting what was done."""

from pathlib import Path

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.group import CommandGroup
from rimewatch.commands.options import (
    config_option,
    journal_option,
    load,
    who_option,
)
from rimewatch.commands.standing import enter, standing
from rimewatch.entries import CorrectiveAction, InService, MoveLot, OutOfService
from rimewatch.errors import UserError
from rimewatch.vocabulary import MS_PER_S, Disposition, LotId, UnitId


@click.group(cls=CommandGroup, epilog="Example:  rimewatch unit list --config shop.toml")
def command() -> None:
    """List units, take one out of service, or note a corrective action."""


@command.command("list", epilog="Example:  rimewatch unit list --config shop.toml")
@config_option
@journal_option
def list_units(config: Path, journal: Path) -> None:
    """List each unit's fish temperature, how old it is, what is wrong, and its own defrosts."""
    from rimewatch.evaluation.learned import lag_of
    from rimewatch.evaluation.unit_now import unit_now
    from rimewatch.report.habit_words import defrost_words, lag_words
    from rimewatch.report.sections import RULES
    from rimewatch.report.wording import duration, temperature

    shop = load(config, sends=False)
    with standing(shop, journal) as now:
        for unit in shop.units:
            alarms = [
                RULES[alarm.key.rule]
                for alarm in now.evaluator.alarms.alarms.values()
                if alarm.active and (alarm.key.unit == unit.id or unit.id in alarm.units)
            ]
            found = unit_now(now.evaluator, unit)
            seen = "no reading yet"
            if found.fish_c is not None and found.at_ms is not None:
                age_s = (now.now_ms - found.at_ms) / MS_PER_S
                seen = f"fish {temperature(found.fish_c, shop.display)}, {duration(age_s)} ago"
            calm = "no alarm" if found.fish_c is not None else "not watched"
            if found.out_of_service:
                calm = "out of service"
            trouble = ", ".join(alarms) or calm
            habit = found.defrosts
            learned = "" if habit is None else f"; {defrost_words(habit, shop.display)}"
            lag = lag_of(shop, now.evaluator.store, unit, now.now_ms)
            learned += "" if lag is None else f"; {lag_words(lag)}"
            click.echo(f"{unit.name} ({unit.id}): {seen}; {trouble}{learned}")


@command.command(
    "note",
    epilog='Example:  rimewatch unit note case-1 "Measured 44 °F in two fillets" '
    "--disposition discarded --lot L-0412",
)
@click.argument("unit")
@click.argument("text")
@click.option(
    "--disposition",
    type=click.Choice([word.value for word in Disposition]),
    help="What became of the fish.",
)
@click.option("--lot", "lots", multiple=True, help="A lot it was about; may be given again.")
@config_option
@journal_option
@who_option
def note(
    unit: str,
    text: str,
    disposition: str | None,
    lots: tuple[str, ...],
    config: Path,
    journal: Path,
    who: str,
) -> None:
    """Note a corrective action: what was done, in your own words."""
    shop = load(config, sends=False)
    enter(
        shop,
        journal,
        CorrectiveAction(
            at_ms=SystemClock().now_ms(),
            who=who,
            unit=UnitId(unit),
            text=text,
            disposition=None if disposition is None else Disposition(disposition),
            lots=tuple(LotId(lot) for lot in lots),
        ),
    )
    click.echo("Noted.")


@command.command(
    "out-of-service", epilog="Example:  rimewatch unit out-of-service case-1 --fish-to walk-in"
)
@click.argument("unit")
@click.option("--fish-to", help="The unit its fish was moved to: its lots are entered there.")
@config_option
@journal_option
@who_option
def out_of_service(unit: str, fish_to: str | None, config: Path, journal: Path, who: str) -> None:
    """Take a unit out of service: it keeps its record and raises nothing."""
    shop = load(config, sends=False)
    at_ms = SystemClock().now_ms()
    leaving = UnitId(unit)
    moves: list[MoveLot] = []
    if fish_to is not None:
        new = UnitId(fish_to)
        if new == leaving:
            raise UserError(f"--fish-to {fish_to} is the unit itself; name where its fish is now")
        with standing(shop, journal) as now:
            lots = now.evaluator.lots_in(leaving)
        moves = [MoveLot(at_ms=at_ms, who=who, lot=lot, unit=new) for lot in lots]
    enter(shop, journal, *moves, OutOfService(at_ms=at_ms, who=who, unit=leaving))
    click.echo(f"{unit} is out of service until you say otherwise.")
    if fish_to is not None:
        told = (
            ", ".join(move.lot for move in moves) if moves else "no lot was entered as being in it"
        )
        click.echo(f"Now in {fish_to}: {told}.")


@command.command("in-service", epilog="Example:  rimewatch unit in-service case-1")
@click.argument("unit")
@config_option
@journal_option
@who_option
def in_service(unit: str, config: Path, journal: Path, who: str) -> None:
    """Put a unit back in service; what is wrong with it then is raised."""
    shop = load(config, sends=False)
    at_ms = SystemClock().now_ms()
    enter(shop, journal, InService(at_ms=at_ms, who=who, unit=UnitId(unit)))
    click.echo(f"{unit} is in service.")
