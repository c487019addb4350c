"""What the commands about lots ask for in the same way."""

from typing import Any, Final

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.options import instant_ms
from rimewatch.errors import UserError
from rimewatch.science.scales import celsius_of_fahrenheit
from rimewatch.shop import Shop

CAUTION: Final = (
    "A record is not a guarantee of safety. The person in charge decides; local codes and the "
    "licensed authority come first."
)

at_option = click.option(
    "--at", help="When, in the shop's time, such as 2026-03-02T21:30.  [default: now]"
)


def times(at: str | None, shop: Shop) -> dict[str, Any]:
    """Return when something was done, and when it was entered if that was later.

    Raises:
        UserError: If it is no time.
    """
    now_ms = SystemClock().now_ms()
    if at is None:
        return {"at_ms": now_ms}
    return {"at_ms": instant_ms(at, shop), "entered_ms": now_ms}


def fahrenheit_or_celsius(celsius: float | None, fahrenheit: float | None) -> float | None:
    """Return a temperature in °C that was given in one of the two scales.

    Raises:
        UserError: If it was given in both.
    """
    if celsius is not None and fahrenheit is not None:
        raise UserError("--celsius and --fahrenheit are both given; give one of them")
    return celsius if fahrenheit is None else round(celsius_of_fahrenheit(fahrenheit), 3)
