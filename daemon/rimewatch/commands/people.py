"""``rimewatch people``: who may sign in to the pages, and what programs may read."""

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.group import CommandGroup
from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.commands.standing import existing
from rimewatch.errors import UserError
from rimewatch.shop import Shop
from rimewatch.web.people import ROLES, People, PeopleError, TokenScope, people_path

T = TypeVar("T")


@click.group(
    cls=CommandGroup, epilog="Example:  rimewatch people add Ana --role act --config shop.toml"
)
def command() -> None:
    """Say who may sign in to the pages, and which programs may read."""


@command.command("add", epilog="Example:  rimewatch people add Ana --role act")
@click.argument("name")
@click.option(
    "--role",
    type=click.Choice(list(ROLES)),
    required=True,
    help="look: see everything; act: acknowledge and write down as well; set-up: all.",
)
@config_option
@journal_option
def add(name: str, role: str, config: Path, journal: Path) -> None:
    """Print a one-time link under which NAME sets a password, within 24 hours.

    For somebody who is known already: a new password, and the role that is given here.
    """
    shop = load(config, sends=False)
    secret = _done(journal, lambda p: p.invite(name, ROLES[role], SystemClock().now_ms()))
    click.echo(f"Within 24 hours, {name} opens {_address(shop)}/set-up/{secret}")


@command.command("list", epilog="Example:  rimewatch people list")
@journal_option
def list_people(journal: Path) -> None:
    """List who may sign in, and which programs have a token."""
    people = _done(journal, lambda p: p.everybody())
    for person in people:
        click.echo(f"{person.name}: {person.role.word}")
    if not people:
        click.echo("Nobody can sign in.")
    for name, scopes in _done(journal, lambda p: p.tokens()):
        click.echo(f"token {name}: {scopes}")


@command.command("remove", epilog="Example:  rimewatch people remove Ana")
@click.argument("name")
@journal_option
def remove(name: str, journal: Path) -> None:
    """Let NAME sign in no more; their sessions end at once."""
    if not _done(journal, lambda p: p.remove(name)):
        raise UserError(f'nobody is called "{name}"; rimewatch people list shows everybody')
    click.echo(f"{name} can sign in no more.")


@command.command("token", epilog="Example:  rimewatch people token wall-screen --scope read")
@click.argument("name")
@click.option(
    "--scope",
    "scopes",
    multiple=True,
    type=click.Choice([scope.value for scope in TokenScope]),
    help="read: what the pages show; metrics: counts and gauges alone. May be given again.",
)
@click.option("--remove", "is_removed", is_flag=True, help="Make the token void instead.")
@journal_option
def token(name: str, scopes: tuple[str, ...], is_removed: bool, journal: Path) -> None:  # noqa: FBT001 (a flag)
    """Print a token for a program, once; one of the same name before it is void."""
    if is_removed:
        if not _done(journal, lambda p: p.remove_token(name)):
            raise UserError(f'there is no token "{name}"; rimewatch people list shows them')
        click.echo(f"The token {name} is void.")
        return
    if not scopes:
        raise UserError("--scope is missing; expected read or metrics")
    given = frozenset(TokenScope(scope) for scope in scopes)
    click.echo(_done(journal, lambda p: p.add_token(name, given, SystemClock().now_ms())))


def _address(shop: Shop) -> str:
    if shop.web is None:
        raise UserError("the configuration has no [web], so there are no pages to sign in to")
    return shop.web.reached_at()


def _done(journal: Path, ask: Callable[[People], T]) -> T:
    try:
        return ask(People(people_path(existing(journal))))
    except PeopleError as error:
        raise UserError(str(error)) from None
