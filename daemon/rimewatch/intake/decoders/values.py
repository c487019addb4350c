"""Numbers and contacts: what counts as a value, whatever format carried it.

Never guesses: a switch's ``true`` is no temperature. A number may come as text, with a decimal
comma, and with its unit behind it; the unit then outranks the scale of the configuration.
"""

import math
import re
from collections.abc import Callable
from typing import Final, NamedTuple

from rimewatch.intake.decoders.draft import Undecodable, shown
from rimewatch.shop import Probe
from rimewatch.vocabulary import Measures, Scale, TrueMeans

CONTACT_WORDS: Final = {
    "1": 1.0,
    "true": 1.0,
    "open": 1.0,
    "opened": 1.0,
    "wet": 1.0,
    "on": 1.0,
    "0": 0.0,
    "false": 0.0,
    "closed": 0.0,
    "close": 0.0,
    "shut": 0.0,
    "dry": 0.0,
    "off": 0.0,
}
"""Open and wet are 1, shut and dry are 0. Common practice, no source."""

PLAIN_CONTACT_WORDS: Final = frozenset(("1", "true", "on", "0", "false", "off"))
"""Those that do not say themselves what they mean; ``true_means`` of the probe does."""

_NUMBER: Final = re.compile(
    r"[+-]?(?:\d{1,64}(?:\.\d{0,64})?|\.\d{1,64})(?:[eE][+-]?\d{1,9})?", re.ASCII
)
_QUANTITY: Final = re.compile(
    r"(?P<whole>[+-]?[0-9]{1,64})(?:[.,](?P<part>[0-9]{1,64}))?"
    r"\s{0,4}(?P<unit>[^\s\d.,+_-][^\d.,+_-]{0,15})?"
)
"""A number with a decimal point or comma, and what stands behind it."""

_TYPED: Final = str.maketrans({"\u2212": "-", "\u00ba": "°"})
"""Signs that look like what is meant: a minus sign, an ordinal's raised o."""

SCALE_WORDS: Final = {
    **dict.fromkeys(
        ("c", "°c", "° c", "℃", "cel", "celsius", "degc", "deg c", "degrees c"), Scale.CELSIUS
    ),
    **dict.fromkeys(
        ("f", "°f", "° f", "℉", "fahrenheit", "degf", "deg f", "degrees f"), Scale.FAHRENHEIT
    ),
    **dict.fromkeys(("k", "°k", "kelvin"), Scale.KELVIN),
    **dict.fromkeys(("ohm", "ohms", "Ω", "ω"), Scale.OHM),
}
"""How devices write a scale, in lower case. Common practice, no source; ``Cel`` is RFC 8428's."""

PERCENT_WORDS: Final = frozenset(("%", "%rh", "% rh", "percent"))
_NON_FINITE: Final = {"nan", "inf", "infinity"}
_WIDE_INT: Final = 10**300


class Measured(NamedTuple):
    """A value, and the scale that came with it; None: none came."""

    value: float
    scale: Scale | None = None


def scale_in(text: object) -> Scale | None:
    """Return the scale that a device's word for its unit names, or None.

    >>> scale_in("°F"), scale_in("Celsius"), scale_in("hPa")
    (<Scale.FAHRENHEIT: 'F'>, <Scale.CELSIUS: 'C'>, None)
    """
    return SCALE_WORDS.get(" ".join(text.lower().split())) if isinstance(text, str) else None


def measured_in(text: str, measures: Measures) -> Measured:
    """Return the number that a text is, with a decimal comma and its unit if it has them.

    Raises:
        Undecodable: If it is anything else, or in a unit of something else.

    >>> measured_in("2,4 °C", Measures.AIR)
    Measured(value=2.4, scale=<Scale.CELSIUS: 'C'>)
    """
    try:
        return Measured(number_in(text))
    except Undecodable:
        found = _QUANTITY.fullmatch(text.strip().translate(_TYPED))
        if found is None:
            raise
    value = float(f"{found['whole']}.{found['part'] or 0}")
    unit = " ".join((found["unit"] or "").lower().split())
    if not unit or (measures is Measures.HUMIDITY and unit in PERCENT_WORDS):
        return Measured(value)
    scale = SCALE_WORDS.get(unit) if measures.is_temperature else None
    if scale is None:
        msg = f"the unit behind the number is {shown(unit)}; expected {_units(measures)}"
        raise Undecodable(msg)
    return Measured(value, scale)


def _units(measures: Measures) -> str:
    return "°C, °F or K" if measures.is_temperature else "%"


def number_of(value: object, where: str) -> float:
    """Return a number from a decoded document as a float, infinite if it is beyond floats.

    Raises:
        Undecodable: If it is not a number; a boolean and a text are not.
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


def contact_of(value: object, where: str, true_means: TrueMeans | None = None) -> float:
    """Return 1.0 (open, wet) or 0.0 (shut, dry) from a number, a boolean or a word.

    Args:
        value: What was sent.
        where: Where it stood.
        true_means: What 1, ``true`` and ``on`` stand for; None: open, or wet. A word such as
            "closed" says itself what it means.

    Raises:
        Undecodable: If it is none of those.
    """
    is_turned = true_means is not None and not true_means.is_one
    if isinstance(value, bool | int | float) and value in (0, 1):
        return 1.0 - value if is_turned else float(value)
    if isinstance(value, str):
        word = value.strip().lower()
        found = CONTACT_WORDS.get(word)
        if found is not None:
            return 1.0 - found if is_turned and word in PLAIN_CONTACT_WORDS else found
    said = "missing" if value is None else shown(value)
    msg = f'{where} is {said}; expected 1, 0, true, false, "open", "closed", "wet" or "dry"'
    raise Undecodable(msg)


def reader_of(probe: Probe) -> Callable[[object, str], Measured]:
    """Return what reads a decoded document's field, by what the probe measures.

    It takes the field's value and where it stood, and raises :class:`Undecodable` if that
    is nothing of the kind.
    """
    measures, true_means = probe.measures, probe.true_means

    def contact(value: object, where: str) -> Measured:
        return Measured(contact_of(value, where, true_means))

    def number(value: object, where: str) -> Measured:
        if type(value) is str:
            try:
                return measured_in(value, measures)
            except Undecodable:
                pass  # the sentence below names where it stood
        return Measured(number_of(value, where))

    return contact if measures.is_contact else number


def battery_of(value: object) -> float | None:
    """Return a battery's state as the probe tells it; None if it is not a finite number.

    A strange battery never costs a temperature.
    """
    if isinstance(value, str):
        try:
            value = number_in(value)
        except Undecodable:
            return None
        return value if math.isfinite(value) else None
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if -_WIDE_INT < value < _WIDE_INT else None
