"""``rimewatch alarm``: what is wrong now, and saying that somebody has seen it."""

from dataclasses import replace
from pathlib import Path

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.group import CommandGroup
from rimewatch.commands.options import (
    config_option,
    instant_ms,
    journal_option,
    load,
    who_option,
)
from rimewatch.commands.standing import Standing, enter, existing, look_at, standing
from rimewatch.entries import Acknowledge, Shelve, Unshelve
from rimewatch.errors import UserError
from rimewatch.evaluation.acknowledging import alarm_name, missed
from rimewatch.journal.errors import JournalError
from rimewatch.rules.condition import AlarmKey
from rimewatch.shop import Shop
from rimewatch.vocabulary import Rule, UnitId

RULES = click.Choice([rule.value for rule in Rule])


def _key(unit: str, rule: str) -> AlarmKey:
    """Return which alarm is meant; UNIT - is an alarm over several units."""
    of = None if unit == "-" else UnitId(unit)
    return AlarmKey(unit=of, rule=Rule(rule))


def _shelves(now: Standing) -> dict[AlarmKey, int]:
    """Return what is shelved and until when; the service may have been down as a shelf ended."""
    shelves = now.evaluator.alarms.shelves
    return {key: until_ms for key, until_ms in shelves.items() if until_ms > now.now_ms}


def _long_name(shop: Shop, key: AlarmKey) -> str:
    """Return an alarm in words, with the names behind it that the commands take."""
    from rimewatch.report.sections import RULES as said  # noqa: N811 (RULES are a command's choice)

    if key.unit is None:
        unit = "several units"
    elif key.unit in shop.unit:
        unit = shop.unit[key.unit].name
    else:
        unit = "a unit no longer in the configuration"
    return f"{unit}: {said[key.rule]} ({alarm_name(key)})"


@click.group(cls=CommandGroup, epilog="Example:  rimewatch alarm list --config shop.toml")
def command() -> None:
    """List alarms, acknowledge one, shelve it for a while, or end its shelf."""


@command.command("list", epilog="Example:  rimewatch alarm list --config shop.toml")
@config_option
@journal_option
def list_alarms(config: Path, journal: Path) -> None:
    """List the alarms that are on, or returned and not yet acknowledged, and what is shelved."""
    from zoneinfo import ZoneInfo

    from rimewatch.report.plain_words import STATES
    from rimewatch.report.wording import local_moment

    shop = load(config, sends=False)
    zone = ZoneInfo(shop.timezone)
    with standing(shop, journal) as now:
        alarms = sorted(now.evaluator.alarms.alarms.values(), key=lambda alarm: alarm.raised_ms)
        shelves = sorted(_shelves(now).items(), key=lambda shelf: shelf[1])
    if not alarms:
        click.echo("No alarm is on.")
    for alarm in alarms:
        click.echo(
            f"{_long_name(shop, alarm.key)}: {alarm.priority.value} priority, "
            f"{STATES[alarm.state]}, raised {local_moment(alarm.raised_ms, zone)}"
        )
    for key, until_ms in shelves:
        click.echo(f"{_long_name(shop, key)}: on its shelf until {local_moment(until_ms, zone)}")


@command.command("acknowledge", epilog="Example:  rimewatch alarm acknowledge case-1 holding")
@click.argument("unit")
@click.argument("rule", type=RULES, metavar="RULE")
@click.option(
    "--back-within",
    "back_within_min",
    type=click.FloatRange(min=0, min_open=True),
    help="Minutes within which you will see to it: still so after that, it rings again.",
)
@config_option
@journal_option
@who_option
def acknowledge(
    unit: str, rule: str, back_within_min: float | None, config: Path, journal: Path, who: str
) -> None:
    """Say that you have seen an alarm and are acting; repeats and escalation stop.

    UNIT and RULE are as rimewatch alarm list shows them in brackets; UNIT is - for an alarm
    over several units.
    """
    shop = load(config, sends=False)
    key = _key(unit, rule)
    entry = Acknowledge(
        at_ms=SystemClock().now_ms(),
        who=who,
        unit=key.unit,
        rule=key.rule,
        back_within_min=back_within_min,
    )
    look_at(shop, journal, entry)
    with standing(shop, journal) as now:
        alarms = now.evaluator.alarms
    if why := missed(entry, alarms):
        raise UserError(why)
    enter(shop, journal, replace(entry, alarm=alarms.alarms[key].id))
    click.echo(f"Acknowledged: {alarm_name(key)}. Note what was done with rimewatch unit note.")


@command.command("shelve", epilog="Example:  rimewatch alarm shelve case-1 door --minutes 30")
@click.argument("unit")
@click.argument("rule", type=RULES, metavar="RULE")
@click.option(
    "--minutes",
    type=click.FloatRange(min=0, min_open=True),
    required=True,
    help="For how long; a shelf always ends.",
)
@config_option
@journal_option
@who_option
def shelve(unit: str, rule: str, minutes: float, config: Path, journal: Path, who: str) -> None:
    """Put an alarm aside for some minutes; if it is still so then, it is raised."""
    shop = load(config, sends=False)
    key = _key(unit, rule)
    enter(
        shop,
        journal,
        Shelve(
            at_ms=SystemClock().now_ms(),
            who=who,
            unit=key.unit,
            rule=key.rule,
            minutes=minutes,
        ),
    )
    click.echo(f"Shelved for {minutes:g} min: {alarm_name(key)}.")


@command.command("unshelve", epilog="Example:  rimewatch alarm unshelve case-1 door")
@click.argument("unit")
@click.argument("rule", type=RULES, metavar="RULE")
@config_option
@journal_option
@who_option
def unshelve(unit: str, rule: str, config: Path, journal: Path, who: str) -> None:
    """Take an alarm from its shelf before the shelf ends; what is still so is told at once.

    UNIT and RULE are as rimewatch alarm list shows them in brackets; UNIT is - for an alarm
    over several units.
    """
    shop = load(config, sends=False)
    key = _key(unit, rule)
    ended = Unshelve(at_ms=SystemClock().now_ms(), who=who, unit=key.unit, rule=key.rule)
    look_at(shop, journal, ended)
    with standing(shop, journal) as now:
        shelved = set(_shelves(now))
        for entry in now.waiting:
            if isinstance(entry, Shelve):
                shelved.add(AlarmKey(unit=entry.unit, rule=entry.rule))
    if key not in shelved:
        others = ", ".join(sorted(alarm_name(other) for other in shelved)) or "nothing"
        raise UserError(
            f"{alarm_name(key)} is not shelved, so nothing was changed; shelved now: {others}"
        )
    enter(shop, journal, ended)
    click.echo(f"Taken from its shelf: {alarm_name(key)}. If it is still so, it is told now.")


@command.command(
    "figures",
    epilog="Example:  rimewatch alarm figures --config shop.toml --from 2026-03-01 --to 2026-04-01",
)
@click.option("--from", "begins", required=True, help="Beginning, in the shop's time zone.")
@click.option("--to", "ends", help="End, in the shop's time zone; without it, now.")
@config_option
@journal_option
def figures(begins: str, ends: str | None, config: Path, journal: Path) -> None:
    """Measure how well the alarms serve: how many, how soon answered, what cries wolf."""
    from rimewatch.alarms.codec import alarm_from_json
    from rimewatch.alarms.metrics import measure
    from rimewatch.journal.reader import JournalReader
    from rimewatch.report.alarm_figures import figures_document
    from rimewatch.report.document_text import document_text

    shop = load(config, sends=False)
    from_ms = instant_ms(begins, shop)
    to_ms = SystemClock().now_ms() if ends is None else instant_ms(ends, shop)
    if to_ms <= from_ms:
        raise UserError(f"--to {ends or 'now'} is not after --from {begins}")
    existing(journal)
    try:
        with JournalReader.open(journal) as reader:
            alarms = [alarm_from_json(row.text) for row in reader.alarms_between(from_ms, to_ms)]
    except JournalError as error:
        raise UserError(str(error)) from None
    document = figures_document(shop, measure(alarms, from_ms, to_ms))
    click.echo(document_text(document), nl=False)
