"""What the forms about lots hold, in the shop's scale, and what of it was changed. Pure."""

from collections.abc import Mapping
from typing import Final
from zoneinfo import ZoneInfo

from starlette.exceptions import HTTPException

from rimewatch.entries import ReceiveLot
from rimewatch.instants import iso_ms
from rimewatch.report import wording
from rimewatch.science.scales import celsius_of_fahrenheit
from rimewatch.vocabulary import Scale
from rimewatch.web.unit_forms import number

_NUMBERS: Final = ("thickness_mm", "kilograms")
_TEXTS: Final = ("species", "supplier", "supplier_reference", "statement")
_YES_OR_NO: Final = ("serve_raw", "rop")
EARLIEST_MS: Final = 946_684_800_000
LATEST_MS: Final = 7_258_118_400_000
"""A year outside of 2000 to 2199 was mistyped."""


def celsius(text: str, scale: Scale) -> float:
    """Return °C of what somebody typed in the shop's scale.

    Raises:
        HTTPException: 422, if it is no number.
    """
    degrees = number(text, "degrees")
    return round(celsius_of_fahrenheit(degrees), 3) if scale is Scale.FAHRENHEIT else degrees


def done_at(fields: Mapping[str, str], timezone: str, now_ms: int) -> dict[str, int]:
    """Return when something was done, and when it was entered if that is later.

    Args:
        fields: A form's; "when" is the shop's wall clock, or empty: just now.
        timezone: The shop's.
        now_ms: Milliseconds UTC.

    Returns:
        The entry's ``at_ms`` and ``entered_ms``; nothing for what was done just now.

    Raises:
        HTTPException: 422, if it is no time.
    """
    said = fields.get("when", "").strip()
    if not said:
        return {}
    at_ms = wall_clock_ms(said, timezone)
    return {"at_ms": at_ms, "entered_ms": now_ms}


def wall_clock_ms(text: str, timezone: str) -> int:
    """Return the instant of a time on the shop's wall clock, milliseconds UTC.

    A time that the spring clock change leaves out is as long after it as it says; of one
    that occurs twice in autumn the first is meant (PEP 495), as ``--at`` of the commands.

    Raises:
        HTTPException: 422, if it is no time.
    """
    at_ms = iso_ms(text, ZoneInfo(timezone), by_hand=True)
    if at_ms is None or not EARLIEST_MS <= at_ms < LATEST_MS:
        raise HTTPException(
            422, f"“{text[:40]}” is no time; expected one such as 2026-03-02T21:30, in {timezone}."
        )
    return at_ms


def seen_number(fields: Mapping[str, str], name: str = "seen") -> int | None:
    """Return the number of an entry in a form; None: it says none.

    Args:
        fields: The form's.
        name: Which; without it, that of the last entry that the form's page knew of.
    """
    said = fields.get(name, "")
    return int(said) if said.isascii() and said.isdigit() and len(said) <= 12 else None


def receipt_fields(receipt: ReceiveLot, scale: Scale) -> dict[str, str]:
    """Return what a form shows of a receipt, field by field."""
    shown = {name: getattr(receipt, name) for name in _TEXTS}
    shown["origin"] = receipt.origin.value
    for name in _YES_OR_NO:
        shown[name] = "yes" if getattr(receipt, name) else "no"
    for name in _NUMBERS:
        value = getattr(receipt, name)
        shown[name] = "" if value is None else f"{value:g}"
    degrees = None if receipt.celsius is None else wording.in_scale(receipt.celsius, scale)
    shown["temperature"] = "" if degrees is None else f"{degrees:.1f}"
    return shown


def corrections(
    receipt: ReceiveLot, fields: Mapping[str, str], scale: Scale
) -> dict[str, str | float | bool]:
    """Return what somebody changed in a form that showed a receipt: values by entry's key.

    Raises:
        HTTPException: 422, if a figure is none, or one was emptied.
    """
    shown = receipt_fields(receipt, scale)
    changed = {
        name: said for name, before in shown.items() if (said := fields.get(name, before)) != before
    }
    found: dict[str, str | float | bool] = {}
    for name, said in changed.items():
        if not said and name in (*_NUMBERS, "temperature"):
            raise HTTPException(
                422, "A figure cannot be emptied; enter the right one, or cancel the receipt."
            )
        if name == "temperature":
            found["celsius"] = celsius(said, scale)
        elif name in _NUMBERS:
            found[name] = number(said, name)
        elif name in _YES_OR_NO:
            found[name] = said == "yes"
        else:
            found[name] = said
    return found
