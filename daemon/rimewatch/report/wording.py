"""Numbers as people read them: temperatures, durations, local times, counts.

Everything here is English and independent of the machine's locale. Pure: no I/O,
no clock, no rounding that could turn an unfinished hold into a finished one.

References:
    [1] NIST SP 811 (2008), appendix B.8: t/°C = (t/°F − 32)/1.8, exact; an interval
        of one kelvin is an interval of 1.8 °F, without the 32.
"""

import math
import re
import unicodedata
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.lots.hold import COLD_20_C, COLD_35_C, REQUIRED_H
from rimewatch.lots.record import Doubt
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_H, MS_PER_S, Option, Scale

FAHRENHEIT_PER_KELVIN: Final = 1.8
"""[1], exact by definition."""
FAHRENHEIT_AT_ZERO_C: Final = 32.0
"""[1], exact by definition."""

WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
FULL_WEEKDAYS: Final = (
    "Monday",
    "Tuesday",
    "Wednesday",
    "Thursday",
    "Friday",
    "Saturday",
    "Sunday",
)
MONTHS: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

_UNBOUND: Final = re.compile(r"(?<=\d) (?=(?:°[CF]|h|min|s|d|[A-Z]{3,4})\b)")
_UNBOUND_RANGE: Final = re.compile(r"(?<=\d)–(?=\d)")
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_SMALL_NUMBERS: Final = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
)


def in_scale(celsius: float, scale: Scale) -> float:
    """Return a temperature in the scale that people read, by [1].

    >>> in_scale(5.0, Scale.FAHRENHEIT)
    41.0
    """
    if scale is Scale.FAHRENHEIT:
        return celsius * FAHRENHEIT_PER_KELVIN + FAHRENHEIT_AT_ZERO_C
    return celsius


def difference_in_scale(delta_c: float, scale: Scale) -> float:
    """Return a temperature difference in the scale that people read: no 32 here, by [1].

    >>> difference_in_scale(5.0, Scale.FAHRENHEIT)
    9.0
    """
    return delta_c * FAHRENHEIT_PER_KELVIN if scale is Scale.FAHRENHEIT else delta_c


def temperature(celsius: float, scale: Scale) -> str:
    """Return a temperature with its unit, one decimal.

    Raises:
        ValueError: If ``celsius`` is not finite.

    >>> temperature(5.0, Scale.FAHRENHEIT), temperature(-18.0, Scale.CELSIUS)
    ('41.0 °F', '−18.0 °C')
    """
    return f"{_decimal(in_scale(celsius, scale))} °{scale.value}"


def published_limit(celsius: float) -> str:
    """Return a limit as a provision states it, in both scales.

    >>> published_limit(5.0), published_limit(10 / 3)
    ('5 °C (41 °F)', '3.3 °C (38 °F)')
    """
    return f"{round(celsius, 1):g} °C ({in_scale(celsius, Scale.FAHRENHEIT):g} °F)"


def temperature_range(low_c: float, high_c: float, scale: Scale) -> str:
    """Return "33.1 to 37.4 °F": the unit is said once.

    Raises:
        ValueError: If either is not finite.
    """
    low, high = _decimal(in_scale(low_c, scale)), _decimal(in_scale(high_c, scale))
    return f"{low} to {high} °{scale.value}"


def temperature_difference(delta_c: float, scale: Scale) -> str:
    """Return a difference of temperatures with its unit, one decimal.

    Raises:
        ValueError: If ``delta_c`` is not finite.

    >>> temperature_difference(0.5, Scale.FAHRENHEIT)
    '0.9 °F'
    """
    return f"{_decimal(difference_in_scale(delta_c, scale))} °{scale.value}"


def correction(delta_c: float, scale: Scale) -> str:
    """Return how far a probe is off, or what corrects it: signed, two decimals, with its unit.

    Raises:
        ValueError: If ``delta_c`` is not finite.

    >>> correction(-0.61, Scale.CELSIUS), correction(0.61, Scale.FAHRENHEIT)
    ('−0.61 °C', '+1.10 °F')
    """
    if not math.isfinite(delta_c):
        raise ValueError(f"difference of {delta_c!r}: expected a finite number")
    text = f"{difference_in_scale(delta_c, scale) + 0.0:+.2f}".replace("-0.00", "+0.00")
    return f"{text.replace('-', '−')} °{scale.value}"


def duration(seconds: float) -> str:
    """Return a duration as it is said: "45 s", "12 min", "1 h 12 min", "3 d 4 h".

    Rounded to the unit shown; more than nothing is never shown as nothing.

    Raises:
        ValueError: If ``seconds`` is negative or not finite.

    >>> [duration(s) for s in (0, 0.2, 45, 720, 3599, 4320, 273600)]
    ['0 s', 'under 1 s', '45 s', '12 min', '1 h', '1 h 12 min', '3 d 4 h']
    """
    if not math.isfinite(seconds) or seconds < 0:
        raise ValueError(f"duration of {seconds!r} s: expected a finite number from 0 up")
    if 0 < seconds < 1:
        return "under 1 s"
    if round(seconds) < 60:
        return f"{round(seconds)} s"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return _two(minutes // 60, "h", minutes % 60, "min")
    hours = round(seconds / 3600)
    return _two(hours // 24, "d", hours % 24, "h")


def unit_name(unit: Unit) -> str:
    """Return what people call a unit, on one line."""
    return printable(unit.name)


def overlaps(start_ms: float, end_ms: float | None, from_ms: int, to_ms: int) -> bool:
    """Return whether a span that may still be open touches a window."""
    return start_ms <= to_ms and (end_ms is None or end_ms >= from_ms)


def option_words(option: Option, scale: Scale) -> str:
    """Return a freezing option as people say it, in the shop's scale."""
    at_20, at_35 = temperature(COLD_20_C, scale), temperature(COLD_35_C, scale)
    hours = REQUIRED_H[option]
    return {
        Option.F20C_168H: f"{at_20} or colder for {hours:g} h",
        Option.F35C_15H: f"{at_35} or colder until solid, then {hours:g} h",
        Option.F35C_THEN_20C_24H: (
            f"{at_35} or colder until solid, then {hours:g} h at {at_20} or colder"
        ),
        Option.F20C_24H: f"{at_20} or colder in all parts for {hours:g} h",
    }[option]


def credited_hours(credited_h: float, required_h: float) -> str:
    """Return "167.9 of 168 h", cut off and not rounded: an unfinished hold never looks finished.

    >>> credited_hours(167.99, 168.0)
    '167.9 of 168 h'
    """
    shown = math.floor(credited_h * 10 + 1e-9) / 10
    return f"{shown:g} of {required_h:g} h"


_SURE_WHATEVER: Final = {
    Doubt.SILENCE: "whatever the air was like while nobody saw it",
    Doubt.INSIDE: "for this lot itself, in which no probe is known to lie",
}


def sure_hours(
    sure_h: float, required_h: float, by: str, doubts: Sequence[Doubt] = (Doubt.SILENCE,)
) -> str:
    """Return how much of a hold stands whatever nobody saw.

    Args:
        sure_h: The hours that do.
        required_h: The hours that the option asks for.
        by: The local moment from which all of them do; empty: not known.
        doubts: What nobody saw.

    >>> sure_hours(22.54, 24.0, "Tue 14:32")
    'Sure whatever the air was like while nobody saw it: 22.5 of 24 h; all from Tue 14:32 on.'
    """
    rest = f"; all from {by} on" if by else ""
    sure = credited_hours(sure_h, required_h)
    whatever = ", and ".join(_SURE_WHATEVER[doubt] for doubt in doubts)
    return f"Sure {whatever}: {sure}{rest}."


def broken_by(*, is_gap: bool, is_warm: bool, peak: str = "") -> str:
    """Return why a hold was broken.

    Args:
        is_gap: Whether it began with silence.
        is_warm: Whether it was seen too warm, if only afterwards.
        peak: The warmest that was seen, in words; empty: that is not told.

    >>> broken_by(is_gap=True, is_warm=False, peak="up to −24.1 °C")
    'no readings'
    >>> broken_by(is_gap=True, is_warm=True, peak="up to −15.0 °C")
    'no readings, then too warm, up to −15.0 °C'
    """
    if not is_warm:
        return "no readings"
    warm = f"too warm, {peak}" if peak else "too warm"
    return f"no readings, then {warm}" if is_gap else warm


def whole_hours(milliseconds: int) -> str:
    """Return a length in hours, with a decimal only where there is one: "23 h", "11.5 h"."""
    return f"{round(milliseconds / MS_PER_H, 2):g} h"


def local(at_ms: int, zone: tzinfo) -> datetime:
    """Return an instant as the shop's wall clock shows it."""
    return (_EPOCH + timedelta(milliseconds=at_ms)).astimezone(zone)


def local_zone(at_ms: int, timezone: str) -> datetime:
    """Return an instant as the wall clock of a zone, given by its name, shows it."""
    return local(at_ms, ZoneInfo(timezone))


def zone_name(at: datetime) -> str:
    """Return the zone's abbreviation, "CST"; where it has none, its offset, "UTC−03"."""
    name = at.tzname() or "UTC"
    return f"UTC{name}".replace("-", "−") if name[0] in "+-" else name


def local_time(at_ms: int, zone: tzinfo, *, day_of_ms: int | None = None) -> str:
    """Return "02:41 CST"; with the weekday where it is another day than ``day_of_ms``."""
    at = local(at_ms, zone)
    text = f"{at:%H:%M} {zone_name(at)}"
    if day_of_ms is not None and local(day_of_ms, zone).date() != at.date():
        return f"{WEEKDAYS[at.weekday()]} {text}"
    return text


def local_moment(at_ms: int, zone: tzinfo) -> str:
    """Return "Mon 2 March 02:41 CST"."""
    at = local(at_ms, zone)
    day = f"{WEEKDAYS[at.weekday()]} {at.day} {MONTHS[at.month - 1]}"
    return f"{day} {at:%H:%M} {zone_name(at)}"


def local_day(at_ms: int, zone: tzinfo) -> str:
    """Return "Monday 2 March 2026"."""
    at = local(at_ms, zone)
    return f"{FULL_WEEKDAYS[at.weekday()]} {at.day} {MONTHS[at.month - 1]} {at.year}"


def local_span(start_ms: int, end_ms: int, zone: tzinfo, *, day_of_ms: int | None = None) -> str:
    """Return "02:41–03:12 CST"; both zones where the clocks changed in between."""
    start, end = local(start_ms, zone), local(end_ms, zone)
    begins = local_time(start_ms, zone, day_of_ms=day_of_ms)
    if start.date() == end.date():
        ends = f"{end:%H:%M} {zone_name(end)}"
        if zone_name(start) == zone_name(end):
            return f"{begins.rsplit(' ', 1)[0]}–{ends}"
        return f"{begins} – {ends}"
    return f"{begins} – {local_time(end_ms, zone, day_of_ms=day_of_ms)}"


def relative(at_ms: int, now_ms: int) -> str:
    """Return "12 min ago", "in 2 h 5 min", "just now"; beyond two days, in days and hours.

    >>> relative(0, 720_000), relative(720_000, 0), relative(0, 4_000)
    ('12 min ago', 'in 12 min', 'just now')
    """
    apart_s = (now_ms - at_ms) / MS_PER_S
    if abs(apart_s) < 30:
        return "just now"
    return f"{duration(apart_s)} ago" if apart_s > 0 else f"in {duration(-apart_s)}"


def number(count: int) -> str:
    """Return a small count in words, a larger one in digits: "no", "one", "14"."""
    return _SMALL_NUMBERS[count] if 0 <= count < len(_SMALL_NUMBERS) else str(count)


def counted(count: int, one: str, many: str | None = None) -> str:
    """Return "1 opening", "3 openings"."""
    return f"{count} {one if count == 1 else (many or one + 's')}"


def extent(shop: Shop) -> str:
    """Return how much a shop has to watch: "5 units, 9 probes"."""
    return f"{counted(len(shop.units), 'unit')}, {counted(len(shop.probes), 'probe')}"


def joined(names: Sequence[str], *, most: int | None = None) -> str:
    """Return "a, b and c"; beyond ``most`` names, "a, b and 3 more".

    >>> joined(["a", "b", "c", "d", "e"], most=2)
    'a, b and 3 more'
    """
    shown = list(names)
    if most is not None and len(shown) > most:
        shown = [*shown[:most], f"{len(names) - most} more"]
    if len(shown) < 2:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} and {shown[-1]}"


def tied(text: str) -> str:
    """Return the text with each number bound to its unit, so that no line breaks between.

    >>> tied("41.0 °F for 59 min") == "41.0\N{NO-BREAK SPACE}°F for 59\N{NO-BREAK SPACE}min"
    True
    """
    return _UNBOUND_RANGE.sub("\u2060–\u2060", _UNBOUND.sub("\u00a0", text))


def clipped(text: str, longest: int) -> str:
    """Return the text, ended with "…" where it is longer than ``longest`` characters."""
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


def printable(text: str) -> str:
    """Return foreign text on one line, with what could disturb a page or terminal made visible.

    Control, format, private and unpaired surrogate characters become "·"; runs of
    white space become one space. Marks of writing direction are among them, so a payload
    cannot turn the line around it.
    """
    spaced = " ".join(text.split())
    return "".join("·" if unicodedata.category(char)[0] == "C" else char for char in spaced)


def clock_change_ms(from_ms: int, to_ms: int, zone: tzinfo) -> int | None:
    """Return the instant between two others at which the zone's offset changes, if it does.

    Found by halving; two changes that cancel out inside the span go unseen, and no
    zone has ever had them within one night.
    """
    before = local(from_ms, zone).utcoffset()
    if local(to_ms, zone).utcoffset() == before:
        return None
    low, high = from_ms, to_ms
    while high - low > 1:
        middle = (low + high) // 2
        if local(middle, zone).utcoffset() == before:
            low = middle
        else:
            high = middle
    return high


def _decimal(value: float) -> str:
    if not math.isfinite(value):
        raise ValueError(f"temperature of {value!r}: expected a finite number")
    text = f"{value:.1f}"
    if text == "-0.0":
        return "0.0"
    return text.replace("-", "−")


def _two(large: int, large_unit: str, small: int, small_unit: str) -> str:
    return f"{large} {large_unit} {small} {small_unit}" if small else f"{large} {large_unit}"
