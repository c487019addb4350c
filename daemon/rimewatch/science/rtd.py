"""Platinum resistance thermometers: ohms to °C and back, and what a class promises.

Pure. Knows the sensing element alone: lead wires, self-heating and the meter's own
error are not in these figures. Temperatures °C (ITS-90), resistances in ohms.

References:
    [1] IEC 60751, Industrial platinum resistance thermometers and platinum
        temperature sensors: Callendar-Van Dusen coefficients and tolerance classes A
        and B read in reference tables of the standard; classes AA and C and the
        ranges of validity from memory of the 2008 edition.
"""

import math
from enum import StrEnum
from typing import Final

CVD_A: Final = 3.9083e-3
"""1/°C. Source: [1]."""
CVD_B: Final = -5.775e-7
"""1/°C². Source: [1]."""
CVD_C: Final = -4.183e-12
"""1/°C⁴, below 0 °C only. Source: [1]."""
PT100_OHMS: Final = 100.0
"""Resistance of a Pt100 at 0 °C. Source: [1]."""
LOWEST_C: Final = -200.0
HIGHEST_C: Final = 850.0
"""The equation's range. Source: [1]."""


class RtdClass(StrEnum):
    """A tolerance class of IEC 60751."""

    AA = "AA"
    A = "A"
    B = "B"
    C = "C"


class Element(StrEnum):
    """How the sensing element is made; it decides where a class may be claimed."""

    FILM = "film"
    WIRE_WOUND = "wire-wound"


TOLERANCE: Final = {
    RtdClass.AA: (0.10, 0.0017),
    RtdClass.A: (0.15, 0.002),
    RtdClass.B: (0.30, 0.005),
    RtdClass.C: (0.60, 0.01),
}
"""Tolerance ±(a + b·|t|): a in °C, b per °C. Source: [1]; AA and C from memory."""

VALID_C: Final = {
    (RtdClass.AA, Element.FILM): (0.0, 150.0),
    (RtdClass.A, Element.FILM): (-30.0, 300.0),
    (RtdClass.B, Element.FILM): (-50.0, 500.0),
    (RtdClass.C, Element.FILM): (-50.0, 600.0),
    (RtdClass.AA, Element.WIRE_WOUND): (-50.0, 250.0),
    (RtdClass.A, Element.WIRE_WOUND): (-100.0, 450.0),
    (RtdClass.B, Element.WIRE_WOUND): (-196.0, 600.0),
    (RtdClass.C, Element.WIRE_WOUND): (-196.0, 600.0),
}
"""Where a class may be claimed, °C, ends included. Source: [1], from memory."""


def ohms_from_celsius(celsius: float, *, zero_ohms: float = PT100_OHMS) -> float:
    """Return the nominal resistance at a temperature (Callendar-Van Dusen).

    Args:
        celsius: −200 to 850 °C.
        zero_ohms: Resistance at 0 °C, in ohms: 100 for a Pt100, 1000 for a Pt1000.

    Raises:
        ValueError: If ``celsius`` is outside the equation's range or ``zero_ohms`` is
            not a positive number.

    >>> round(ohms_from_celsius(-20.0), 2)
    92.16
    """
    _check_zero_ohms(zero_ohms)
    if not LOWEST_C <= celsius <= HIGHEST_C:
        raise ValueError(
            f"{celsius} °C is outside the equation's range, {LOWEST_C:g} to {HIGHEST_C:g} °C"
        )
    return zero_ohms * _ratio(celsius)


def celsius_from_ohms(ohms: float, *, zero_ohms: float = PT100_OHMS) -> float:
    """Return the temperature at which the element has a resistance.

    From 0 °C up the equation is a quadratic and is solved in closed form; below,
    Newton's method starts from that same quadratic, close enough on the whole range
    for it to converge in a few steps.

    Args:
        ohms: Measured resistance, in ohms, leads already taken off.
        zero_ohms: Resistance at 0 °C, in ohms.

    Raises:
        ValueError: If the resistance is none the equation reaches between −200 and
            850 °C (a broken lead, a short circuit, another element).

    >>> round(celsius_from_ohms(86.2478), 3)
    -35.0
    """
    _check_zero_ohms(zero_ohms)
    ratio = ohms / zero_ohms
    lowest, highest = _ratio(LOWEST_C), _ratio(HIGHEST_C)
    tiny = 1e-12
    if not lowest - tiny <= ratio <= highest + tiny:
        raise ValueError(
            f"{ohms} ohms is outside {lowest * zero_ohms:.2f} to {highest * zero_ohms:.2f} "
            f"ohms, what an element of {zero_ohms:g} ohms at 0 °C can have; "
            "look for a broken lead, a short circuit or another element"
        )
    celsius = (-CVD_A + math.sqrt(CVD_A * CVD_A - 4.0 * CVD_B * (1.0 - ratio))) / (2.0 * CVD_B)
    if ratio >= 1.0:
        return min(celsius, HIGHEST_C)
    for _ in range(8):  # quadratic convergence: 1e-13 °C by the fifth, anywhere in range
        celsius -= (_ratio(celsius) - ratio) / _ratio_slope(celsius)
    return max(celsius, LOWEST_C)


def tolerance_c(celsius: float, rtd_class: RtdClass) -> float:
    """Return the half width of a class's tolerance at a temperature, in °C.

    The formula alone: whether the class may be claimed there depends on the element,
    see ``claimed_tolerance_c``.

    >>> tolerance_c(-35.0, RtdClass.B)
    0.475
    """
    constant, per_c = TOLERANCE[rtd_class]
    return constant + per_c * abs(celsius)


def claimed_tolerance_c(celsius: float, rtd_class: RtdClass, element: Element) -> float | None:
    """Return the tolerance a class promises, or None where it promises nothing.

    A film element has no class A claim in a freezer at −35 °C:

    >>> claimed_tolerance_c(-35.0, RtdClass.A, Element.FILM) is None
    True
    >>> claimed_tolerance_c(-35.0, RtdClass.A, Element.WIRE_WOUND)
    0.22
    """
    lowest, highest = VALID_C[rtd_class, element]
    if not lowest <= celsius <= highest:
        return None
    return tolerance_c(celsius, rtd_class)


def _check_zero_ohms(zero_ohms: float) -> None:
    if not (math.isfinite(zero_ohms) and zero_ohms > 0.0):
        raise ValueError(
            f"zero_ohms is {zero_ohms}; expected a positive number, such as 100 for a Pt100"
        )


def _ratio(celsius: float) -> float:
    ratio = 1.0 + celsius * (CVD_A + CVD_B * celsius)
    if celsius < 0.0:
        ratio += CVD_C * (celsius - 100.0) * celsius**3
    return ratio


def _ratio_slope(celsius: float) -> float:
    slope = CVD_A + 2.0 * CVD_B * celsius
    if celsius < 0.0:
        slope += CVD_C * celsius * celsius * (4.0 * celsius - 300.0)
    return slope
