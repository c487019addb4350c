"""Numbers and contacts: what counts as a value, whatever format carried it.

Never guesses: a switch's ``true`` is no temperature, and ``"2.1"`` in JSON is text.
"""

import math
import re
from collections.abc import Callable
from typing import Final

from rimewatch.intake.decoders.draft import Undecodable, shown
from rimewatch.vocabulary import Measures

CONTACT_WORDS: Final = {
    "1": 1.0,
    "true": 1.0,
    "open": 1.0,
    "wet": 1.0,
    "on": 1.0,
    "0": 0.0,
    "false": 0.0,
    "closed": 0.0,
    "dry": 0.0,
    "off": 0.0,
}
"""Open and wet are 1, shut and dry are 0. Common practice, no source."""

_NUMBER: Final = re.compile(
    r"[+-]?(?:\d{1,64}(?:\.\d{0,64})?|\.\d{1,64})(?:[eE][+-]?\d{1,9})?", re.ASCII
)
_NON_FINITE: Final = {"nan", "inf", "infinity"}
_WIDE_INT: Final = 10**300


def number_of(value: object, where: str) -> float:
    """Return a number from a decoded document as a float, infinite if it is beyond floats.

    Raises:
        Undecodable: If it is not a number; a boolean and a text of digits are not.
    """
    if type(value) is float:
        return value
    if type(value) is int:
        if -_WIDE_INT < value < _WIDE_INT:
            return float(value)
        return math.inf if value > 0 else -math.inf
    if value is None:
        msg = f"there is nothing at {where}; expected a number"
    else:
        msg = f"{where} is {shown(value)}; expected a number, such as 2.1"
    raise Undecodable(msg)


def number_in(text: str) -> float:
    """Return the number that a text is, blanks around it allowed.

    ``nan`` and ``inf`` are returned as such: the receiver names them as not finite.

    Raises:
        Undecodable: If it is anything else, a unit or a decimal comma included.

    >>> number_in(" -18.5 ")
    -18.5
    """
    text = text.strip()
    if _NUMBER.fullmatch(text) or text.lstrip("+-").lower() in _NON_FINITE:
        try:
            return float(text)
        except ValueError:  # such as "+-inf"
            pass
    msg = f"the payload is {shown(text)}; expected a bare number, such as 2.1"
    raise Undecodable(msg)


def contact_of(value: object, where: str) -> float:
    """Return 1.0 (open, wet) or 0.0 (shut, dry) from a number, a boolean or a word.

    Raises:
        Undecodable: If it is none of those.
    """
    if isinstance(value, bool | int | float) and value in (0, 1):
        return float(value)
    if isinstance(value, str):
        found = CONTACT_WORDS.get(value.strip().lower())
        if found is not None:
            return found
    said = "missing" if value is None else shown(value)
    msg = f'{where} is {said}; expected 1, 0, true, false, "open", "closed", "wet" or "dry"'
    raise Undecodable(msg)


def reader_of(measures: Measures) -> Callable[[object, str], float]:
    """Return what reads a decoded document's field, by what the probe measures.

    It takes the field's value and where it stood, and raises :class:`Undecodable` if that
    is nothing of the kind.
    """
    return contact_of if measures.is_contact else number_of


def battery_of(value: object) -> float | None:
    """Return a battery's state as the probe tells it; None if it is not a finite number.

    A strange battery never costs a temperature.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if -_WIDE_INT < value < _WIDE_INT else None
