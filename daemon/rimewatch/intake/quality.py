"""Which values are believed: fault codes, plausible ranges, jumps.

Pure: no clock, no I/O. What is refused here is quarantined, never silently dropped.
"""

import math
from dataclasses import dataclass
from typing import Final

from rimewatch.readings import Reason
from rimewatch.vocabulary import Unread

NEVER_A_TEMPERATURE_C: Final = frozenset((-127.0, 999.0, -999.0))
"""Codes no food is ever at, in °C: −127 is what drivers of one-wire digital thermometers
return for a sensor that does not answer; ±999 marks an open or shorted input on many
transmitters. Common practice, no source. Refused whatever the plausible range says."""

CODES_AS_SENT: Final = frozenset((-127.0, 85.0, 999.0, -999.0))
"""The same as the bare number sent, in either scale, and 85: the power-on content of a
one-wire digital thermometer's register (the maker's data sheet, from memory). These
may be true values (a dishwasher at 85 °C, −127 °F in dry ice), so they are codes only
outside the plausible range or after a jump."""

CODES_C: Final = frozenset((85.0,))
"""Likewise for a driver that turned the register's 85 °C into 185 °F before sending."""

JUMP_C: Final = 20.0
"""A step of more than this, °C, is a jump. Common practice, no source."""

JUMP_WITHIN_MS: Final = 10 * 60 * 1000
"""Only against a reading at most this old (10 min)."""

HUMIDITY_PERCENT: Final = (0.0, 100.0)


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a value is not believed."""

    reason: Reason
    detail: str
    unread: Unread | None = None
    """What is said of a silent probe that is sent such messages, where the reason does not tell."""


def doubt_temperature(
    *,
    sent: float,
    uncorrected_c: float,
    value_c: float,
    plausible_c: tuple[float, float],
    observed_ms: int,
    last: tuple[int, float] | None,
) -> Refusal | None:
    """Return why a finite temperature is not believed, or None if it is.

    Args:
        sent: The bare number the probe sent, in its own scale.
        uncorrected_c: The same in °C, before slope and offset.
        value_c: The corrected value, °C.
        plausible_c: The probe's plausible range, °C, both ends included.
        observed_ms: The reading's time.
        last: Time and value of the probe's last accepted reading, if there is one.
    """
    coded_c = round(uncorrected_c, 2)
    if coded_c in NEVER_A_TEMPERATURE_C:
        return Refusal(Reason.FAULT_CODE, f"{sent:g} is a code for a faulty sensor")
    is_code = sent in CODES_AS_SENT or coded_c in CODES_C
    low_c, high_c = plausible_c
    if not low_c <= value_c <= high_c:
        if is_code:
            return Refusal(Reason.FAULT_CODE, f"{sent:g} is a code for a faulty sensor")
        return Refusal(
            Reason.OUT_OF_RANGE, f"{value_c:g} °C is outside plausible_c [{low_c:g}, {high_c:g}]"
        )
    if is_code and last is not None:
        since_ms, step_c = abs(observed_ms - last[0]), abs(value_c - last[1])
        if since_ms <= JUMP_WITHIN_MS and step_c > JUMP_C:
            return Refusal(
                Reason.FAULT_CODE, f"{sent:g} after {last[1]:g} °C is a code for a faulty sensor"
            )
    return None


def doubt_humidity(percent: float) -> Refusal | None:
    """Return why a relative humidity in percent is not believed, or None if it is."""
    low, high = HUMIDITY_PERCENT
    if low <= percent <= high:
        return None
    return Refusal(Reason.OUT_OF_RANGE, f"{percent:g} % is outside 0 to 100 % relative humidity")


def doubt_finite(sent: float) -> Refusal | None:
    """Return why a value that is no finite number is not believed, or None if it is finite."""
    if math.isfinite(sent):
        return None
    return Refusal(Reason.NOT_FINITE, f"{sent} is not a finite number")
