"""What the commands about lots ask for in the same way."""

from typing import Any, Final

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.options import instant_ms, known_unit
from rimewatch.errors import UserError
from rimewatch.science.scales import celsius_of_fahrenheit
from rimewatch.shop import Shop
from rimewatch.vocabulary import UnitId

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
        UserError: If it is in the future.
    """
    now_ms = SystemClock().now_ms()
    if at is None:
        return {"at_ms": now_ms}
    given_ms = instant_ms(at, shop)
    if given_ms > now_ms:
        raise UserError(f"--at {at} is in the future; an entry says what was done")
    return {"at_ms": given_ms, "entered_ms": now_ms}


def unit_that(shop: Shop, unit: str, *, freezes: bool) -> UnitId:
    """Return the id of a unit that freezes, or of one that keeps fish cold and unfrozen.

    Raises:
        UserError: If there is no such unit, or it is of the other kind.
    """
    from rimewatch.report.plain_words import KINDS

    found = shop.unit[UnitId(known_unit(shop, unit))]
    if found.kind.is_freezer is not freezes:
        others = [u.id for u in shop.units if u.kind.is_freezer is freezes]
        does = "freezes nothing" if freezes else "thaws nothing"
        raise UserError(
            f"{unit} is a {KINDS[found.kind]} and {does}; "
            f"expected one of {', '.join(others) or 'none: the shop has no such unit'}"
        )
    return found.id


def fahrenheit_or_celsius(celsius: float | None, fahrenheit: float | None) -> float | None:
    """Return a temperature in °C that was given in one of the two scales.

    Raises:
        UserError: If it was given in both.
    """
    if celsius is not None and fahrenheit is not None:
        raise UserError("--celsius and --fahrenheit are both given; give one of them")
    return celsius if fahrenheit is None else round(celsius_of_fahrenheit(fahrenheit), 3)
