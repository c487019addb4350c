"""``rimewatch settings``: what holds now, who changed what when, a change, and back."""

import json
import os
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.group import CommandGroup
from rimewatch.commands.options import config_option, journal_option, load, who_option
from rimewatch.commands.standing import existing
from rimewatch.errors import UserError
from rimewatch.vocabulary import MS_PER_S

if TYPE_CHECKING:
    from rimewatch.evaluation.settings import Change
    from rimewatch.service.settings_keeper import FileKeeper
    from rimewatch.web.settings_keeper import Done, NotDone

MOST_TOLD = 1000


@click.group(
    cls=CommandGroup,
    epilog="Example:  rimewatch settings set unit.case-1.limit_c 4.4 --config shop.toml",
)
def command() -> None:
    """Show and change what the shop is watched by; see who changed what, and put it back.

    A change is checked as a whole, written into the file with its comments kept, and used by the
    running service at once. It holds from then on: what came before stays as it was judged.
    """


@command.command("show", epilog="Example:  rimewatch settings show unit.case-1")
@click.argument("key", required=False, default="")
@config_option
def show(key: str, config: Path) -> None:
    """List the keys that the file gives, with their values; those under KEY alone, if given.

    Secrets are not shown. docs/reference/configuration.md names every key there is.
    """
    from rimewatch.config.held import look
    from rimewatch.config.key_paths import listed
    from rimewatch.config.secrets import HIDDEN, without_secrets

    load(config, sends=False)
    tables = without_secrets(look(config).tables())
    found = [
        f"{path} = {'(not shown)' if HIDDEN in str(value) else _written(value)}"
        for path, value in listed(tables)
        if not key or path == key or path.startswith(f"{key}.")
    ]
    if not found:
        raise UserError(f'the file gives nothing under "{key}"; see rimewatch settings show')
    click.echo("\n".join(found))


@command.command("history", epilog="Example:  rimewatch settings history --most 5")
@click.option("--most", default=20, show_default=True, help="So many changes at most.")
@config_option
@journal_option
def history(most: int, config: Path, journal: Path) -> None:
    """List the latest changes: number, when, who, by what way, and key by key what changed."""
    shop = load(config, sends=False)
    existing(journal)
    made = _keeper(config, journal, "").history(most)
    zone = ZoneInfo(shop.timezone)
    for one in made:
        at = datetime.fromtimestamp(one.at_ms / MS_PER_S, zone)
        who = one.who or "nobody said who"
        click.echo(f"{one.number}  {at:%Y-%m-%d %H:%M}  {who} ({one.way})")
        for change in one.changes:
            click.echo(f"    {change.words}")
        if not one.changes:
            click.echo("    a secret, or what makes no difference")
    if not made:
        click.echo("Nothing has been changed since the journal keeps what held when.")


@command.command("set", epilog="Example:  rimewatch settings set unit.case-1.limit_c 4.4")
@click.argument("key")
@click.argument("value", required=False)
@click.option("--default", "is_default", is_flag=True, help="Take the key out: its default holds.")
@who_option
@config_option
@journal_option
def set_key(
    key: str, value: str | None, config: Path, journal: Path, who: str, *, is_default: bool
) -> None:
    """Give KEY another VALUE, from now on.

    KEY is a path, such as unit.case-1.limit_c, probe.case-1-air.unit, night.from or
    escalation.1.repeat_s. VALUE is written as in the file; a text needs no quotes.
    """
    from rimewatch.config.held import look
    from rimewatch.config.key_paths import NoSuchKey, changed, value_of
    from rimewatch.web.settings_keeper import Asked

    if (value is None) is not is_default:
        raise UserError("say the VALUE, or --default to take the key out; not both")
    try:
        before = look(config).tables()
        after = changed(before, key, None if value is None else value_of(value))
    except (OSError, NoSuchKey) as error:
        raise UserError(str(error)) from None
    except ValueError as error:
        raise UserError(f"{config} cannot be read: {error}") from None
    keeper = _keeper(config, journal, who)
    done = keeper.change(Asked(who=who, before=before, after=after))
    _tell(done, keeper, is_undo=False, is_noted=journal.exists())
    if not journal.exists():
        click.echo(f"{config} says so now; there is no journal {journal} yet to note it in.")


@command.command("undo", epilog="Example:  rimewatch settings undo 41")
@click.argument("number", type=int)
@who_option
@config_option
@journal_option
def undo(number: int, config: Path, journal: Path, who: str) -> None:
    """Put back what was before the change of a NUMBER; what was changed since stays.

    rimewatch settings history shows the numbers. It is a change as well, from now on.
    """
    existing(journal)
    keeper = _keeper(config, journal, who)
    _tell(keeper.undo(number, who), keeper, is_undo=True)


def _keeper(config: Path, journal: Path, who: str) -> "FileKeeper":
    from rimewatch.service.settings_keeper import FileKeeper

    clock = SystemClock()
    return FileKeeper(
        config,
        os.environ,
        journal,
        clock,
        lambda _who: _used(config, journal, clock, who),
        sends=False,
    )


def _used(config: Path, journal: Path, clock: SystemClock, who: str) -> str:
    """Note what the file says now; a running service sees it there, and uses it within a second.

    Without a journal there is nothing to note: the service begins with what the file says.
    """
    from rimewatch.config.changing import Way
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.journal import Journal
    from rimewatch.service.settings_log import note_settings

    if not journal.exists():
        return ""
    try:
        shop = load(config, sends=False)
        with Journal.open(journal) as opened:
            note_settings(opened, shop, clock.now_ms(), way=Way.COMMAND, who=who)
    except (UserError, JournalError) as error:
        return str(error)
    return ""


def _tell(
    done: "Done | NotDone", keeper: "FileKeeper", *, is_undo: bool, is_noted: bool = True
) -> None:
    from rimewatch.web.settings_keeper import NotDone

    if isinstance(done, NotDone):
        said = [finding.sentence for finding in done.findings]
        said += [f"{'.'.join(c.path)} was changed since; say which is meant" for c in done.clashes]
        raise UserError("\n".join([*said, *([done.trouble] if done.trouble else [])]))
    made = next((one for one in keeper.history(MOST_TOLD) if one.number == done.number), None)
    changes: tuple[Change, ...] = () if made is None else made.changes
    for change in changes:
        click.echo(change.words)
    if made is None and done.number == 0 and is_noted:
        click.echo("Nothing is different from before.")
    elif made is not None and not is_undo:
        click.echo(f"In use from now on. Back: rimewatch settings undo {made.number}")


def _written(value: Any) -> str:  # noqa: ANN401 (tables hold anything)
    return json.dumps(value, ensure_ascii=False)
