"""What the forms about lots hold, in the shop's scale, and what of it was changed. Pure."""

from collections.abc import Mapping
from typing import Final

from starlette.exceptions import HTTPException

from rimewatch.entries import ReceiveLot
from rimewatch.report import wording
from rimewatch.science.scales import celsius_of_fahrenheit
from rimewatch.vocabulary import Scale
from rimewatch.web.unit_forms import number

_NUMBERS: Final = ("thickness_mm", "kilograms")
_TEXTS: Final = ("species", "supplier", "supplier_reference", "statement")
_YES_OR_NO: Final = ("serve_raw", "rop")


def celsius(text: str, scale: Scale) -> float:
    """Return °C of what somebody typed in the shop's scale.

    Raises:
        HTTPException: 422, if it is no number.
    """
    degrees = number(text, "degrees")
    return round(celsius_of_fahrenheit(degrees), 3) if scale is Scale.FAHRENHEIT else degrees


def seen_number(fields: Mapping[str, str]) -> int | None:
    """Return the number of the last entry that the form's page knew of; None: it says none."""
    said = fields.get("seen", "")
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
        HTTPException: 422, if nothing was changed, a figure is none, or one was emptied.
    """
    shown = receipt_fields(receipt, scale)
    changed = {
        name: said for name, before in shown.items() if (said := fields.get(name, before)) != before
    }
    if not changed:
        raise HTTPException(422, "Nothing was changed; change what is wrong, then send it again.")
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
