"""What ``rimewatch init`` asks about the shop: name, zone, scale, hours."""

import importlib.resources
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from zoneinfo import available_timezones

import click

from rimewatch.config.notation import local_time
from rimewatch.config.problems import nearest

MACHINES_ZONE: Final = Path("/etc/localtime")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopAnswers:
    """What people said of the shop itself."""

    name: str
    timezone: str
    display: str
    summary_at: str


def ask_shop() -> ShopAnswers:
    """Ask for name, time zone, scale, and the hour of the summary."""
    name = click.prompt("What is the shop called", value_proc=a_name)
    timezone = click.prompt("Its time zone", default=machines_zone() or "UTC", value_proc=_zone)
    display = click.prompt(
        "Do people there read °F or °C",
        default="F" if is_in_the_states(timezone) else "C",
        type=click.Choice(["F", "C"], case_sensitive=False),
    )
    summary_at = click.prompt(
        "When is the morning's summary to come", default="06:30", value_proc=_clock
    )
    return ShopAnswers(name=name, timezone=timezone, display=display, summary_at=summary_at)


def ask_night() -> tuple[str, str]:
    """Ask between when only fish at risk may wake somebody."""
    click.echo("At night only fish at risk wakes somebody; the rest waits for the summary.")
    begins = click.prompt("Night begins at", default="21:00", value_proc=_clock)
    while (ends := click.prompt("and ends at", default="06:00", value_proc=_clock)) == begins:
        click.echo("Error: that is when it begins.")
    return begins, ends


def a_name(text: str) -> str:
    """Return a name that people can read.

    Raises:
        click.UsageError: If it is none.
    """
    name = text.strip()
    if not name or not name.isprintable() or len(name) > 200:
        raise click.UsageError("a name has 1 to 200 characters that can be printed")
    return name


def machines_zone() -> str:
    """Return the IANA name of this machine's time zone; empty: it cannot be told."""
    named = os.environ.get("TZ", "").removeprefix(":")
    if named in available_timezones():
        return named
    try:
        linked = str(MACHINES_ZONE.readlink())
    except OSError:
        return ""
    _, _, zone = linked.partition("zoneinfo/")
    return zone if zone in available_timezones() else ""


def is_in_the_states(timezone: str) -> bool:
    """Return whether the time zone database places a zone in the United States (°F there)."""
    table = importlib.resources.files("tzdata.zoneinfo").joinpath("zone.tab")
    rows = (line.split("\t") for line in table.read_text(encoding="utf-8").splitlines())
    return any(row[0] == "US" and row[2] == timezone for row in rows if not row[0].startswith("#"))


def _zone(text: str) -> str:
    if text in available_timezones():
        return text
    meant = nearest(text, available_timezones())
    raise click.UsageError(
        "no such zone in the IANA time zone database; "
        + (f"did you mean {meant}?" if meant else "one is America/Chicago")
    )


def _clock(text: str) -> str:
    try:
        return local_time(text.strip()).strftime("%H:%M")
    except ValueError:
        raise click.UsageError("a local time is HH:MM, such as 06:30") from None
