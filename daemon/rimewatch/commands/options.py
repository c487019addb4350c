"""What several commands ask for in the same way: configuration, journal, times, places."""

import getpass
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

import click

from rimewatch.config import ConfigError, read_shop
from rimewatch.errors import UserError
from rimewatch.instants import iso_ms
from rimewatch.shop import Shop

F = TypeVar("F", bound=Callable[..., Any])

DEFAULT_JOURNAL = "rimewatch.db"


def config_option(command: F) -> F:
    """Add ``--config``."""
    return click.option(
        "--config",
        "config",
        type=click.Path(path_type=Path),
        required=True,
        envvar="RIMEWATCH_CONFIG",
        show_envvar=True,
        help="The shop's configuration, a TOML file.",
    )(command)


def journal_option(command: F) -> F:
    """Add ``--journal``."""
    return click.option(
        "--journal",
        "journal",
        type=click.Path(path_type=Path),
        default=Path(DEFAULT_JOURNAL),
        show_default=True,
        envvar="RIMEWATCH_JOURNAL",
        show_envvar=True,
        help="The journal's file.",
    )(command)


def _login() -> str:
    """Return who is logged in; empty where the system has no name for them."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""


def who_option(command: F) -> F:
    """Add ``--who``."""
    return click.option(
        "--who",
        default=_login,
        help="Who does it, for the record.  [default: your login]",
    )(command)


def load(config: Path, *, sends: bool = True) -> Shop:
    """Return the configured shop.

    Raises:
        UserError: With everything that is wrong in the file.
    """
    try:
        shop = read_shop(config, os.environ, sends=sends)
    except ConfigError as error:
        raise UserError(str(error)) from None
    if shop.messages.overrides:
        from rimewatch.report.texts import problems_of

        if problems := problems_of(shop.messages):
            raise UserError("\n".join(problems))
    return shop


def instant_ms(text: str, shop: Shop) -> int:
    """Return the instant of a text: ISO 8601, in the shop's time zone unless it says its own.

    Raises:
        UserError: If it is no time.
    """
    at_ms = iso_ms(text, ZoneInfo(shop.timezone), by_hand=True)
    if at_ms is None:
        raise UserError(
            f'"{text}" is no time; expected one such as 2026-03-02T21:30, in the shop\'s time zone'
        )
    return at_ms
