"""How one setting is shown and typed: in the shop's scale, in minutes and days, as words.

A kind shows what a key of the file holds, and reads what somebody typed. Both are done in the
units that people think in; the file's own (°C, seconds) are named nowhere on a page. Pure.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

from rimewatch.report import wording
from rimewatch.science.scales import celsius_of_fahrenheit
from rimewatch.vocabulary import Scale

Choice = tuple[str, str]
"""What is sent, and what is read."""
Options = Callable[[Mapping[str, Any]], Sequence[Choice]]
"""The words there are to choose from, given the configuration's tables."""

MANY: Final = ", "
"""Stands between things of which there may be several, where they are one text."""
_PLACES: Final = 4
"""Decimals of a temperature that was typed in °F, in the file: finer than any probe."""


class NotRead(ValueError):  # noqa: N818 (it says what is so)
    """What was typed cannot be read; the text says what would do, in the shop's words."""


class Kind(Protocol):
    """How one setting is shown and typed."""

    @property
    def widget(self) -> str:
        """What a page asks with: ``text``, ``number``, ``time``, ``lines``, ``choice``, …."""
        ...

    def unit(self, scale: Scale) -> str:
        """Return what stands behind the label; empty: nothing."""
        ...

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401 (whatever a key holds)
        """Return what a key holds as somebody would type it."""
        ...

    def read(self, text: str, scale: Scale) -> Any:  # noqa: ANN401 (as above)
        """Return what the key is to hold.

        Raises:
            NotRead: If that cannot be told.
        """
        ...


@dataclass(frozen=True, slots=True)
class Text:
    """A text as it is."""

    widget: str = "text"

    def unit(self, scale: Scale) -> str:  # noqa: ARG002
        """Return nothing: a text has none."""
        return ""

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401, ARG002
        """Return the text."""
        return str(value)

    def read(self, text: str, scale: Scale) -> str:  # noqa: ARG002
        """Return the text."""
        return text


@dataclass(frozen=True, slots=True)
class Clock:
    """A local time of day."""

    widget: str = "time"

    def unit(self, scale: Scale) -> str:  # noqa: ARG002
        """Return nothing."""
        return ""

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401, ARG002
        """Return HH:MM."""
        return str(value)[:5]

    def read(self, text: str, scale: Scale) -> str:  # noqa: ARG002
        """Return HH:MM."""
        found = re.fullmatch(r"(\d{1,2})[:.h]?(\d{2})(:00)?", text)
        if found is None or int(found[1]) > 23 or int(found[2]) > 59:
            raise NotRead(f"“{text[:20]}” is no time; type one such as 06:30.")
        return f"{int(found[1]):02}:{found[2]}"


@dataclass(frozen=True, slots=True)
class Degrees:
    """A temperature, in the shop's scale."""

    example_c: float
    widget: str = "number"

    def unit(self, scale: Scale) -> str:
        """Return the scale's sign."""
        return f"°{scale}"

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401
        """Return the number in the shop's scale."""
        return plain(wording.in_scale(float(value), scale))

    def read(self, text: str, scale: Scale) -> float:
        """Return °C."""
        typed = _number(text.removesuffix(f"°{scale}"), self.wanted(scale))
        if scale is Scale.FAHRENHEIT:
            return round(celsius_of_fahrenheit(typed), _PLACES)
        return typed

    def wanted(self, scale: Scale) -> str:
        """Return what would do."""
        return f"a temperature in °{scale}, such as {self.show(self.example_c, scale)}"


@dataclass(frozen=True, slots=True)
class Difference:
    """A difference of temperatures, in the shop's degrees."""

    example_c: float
    widget: str = "number"

    def unit(self, scale: Scale) -> str:
        """Return what its degrees are."""
        return f"degrees {'Fahrenheit' if scale is Scale.FAHRENHEIT else 'Celsius'}"

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401
        """Return the number in the shop's degrees."""
        return plain(wording.difference_in_scale(float(value), scale))

    def read(self, text: str, scale: Scale) -> float:
        """Return kelvin, which is °C of a difference."""
        typed = _number(text, self.wanted(scale))
        return round(typed / 1.8, _PLACES) if scale is Scale.FAHRENHEIT else typed

    def wanted(self, scale: Scale) -> str:
        """Return what would do."""
        return f"a number of {self.unit(scale)}, such as {self.show(self.example_c, scale)}"


@dataclass(frozen=True, slots=True)
class Number:
    """A number in some unit; ``each`` is how much of what the file holds one of them is."""

    of: str
    """The unit, as people read it; empty: none."""
    example: float
    each: float = 1.0
    is_whole: bool = False
    widget: str = "number"

    def unit(self, scale: Scale) -> str:  # noqa: ARG002
        """Return the unit."""
        return self.of

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401, ARG002
        """Return the number in that unit."""
        return plain(float(value) / self.each)

    def read(self, text: str, scale: Scale) -> float:
        """Return the number as the file has it; a whole one without a point."""
        wanted = self.wanted(scale)
        found = _number(text, wanted) * self.each
        if self.is_whole and found != round(found):
            raise NotRead(f"“{text[:20]}” is not whole; type {wanted}.")
        return round(found) if found == round(found) else round(found, 6)

    def wanted(self, scale: Scale) -> str:  # noqa: ARG002
        """Return what would do."""
        said = f"a {'whole ' if self.is_whole else ''}number"
        said += f" of {self.of}" if self.of else ""
        return f"{said}, such as {plain(self.example)}"


@dataclass(frozen=True, slots=True)
class One:
    """One of some words."""

    options: Options
    widget: str = "choice"

    def unit(self, scale: Scale) -> str:  # noqa: ARG002
        """Return nothing."""
        return ""

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401, ARG002
        """Return the word that is sent."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        return str(value)

    def read(self, text: str, scale: Scale) -> str:  # noqa: ARG002
        """Return the word."""
        return text


@dataclass(frozen=True, slots=True)
class YesNo(One):
    """Whether something is so."""

    options: Options = lambda _: (("yes", "yes"), ("no", "no"))

    def read(self, text: str, scale: Scale) -> Any:  # noqa: ANN401, ARG002
        """Return a truth."""
        return text == "yes"


@dataclass(frozen=True, slots=True)
class Some:
    """Some of several words, each with a tick."""

    options: Options
    widget: str = "ticks"

    def unit(self, scale: Scale) -> str:  # noqa: ARG002
        """Return nothing."""
        return ""

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401, ARG002
        """Return the words as one text."""
        return MANY.join(str(item) for item in value)

    def read(self, text: str, scale: Scale) -> list[str]:  # noqa: ARG002
        """Return the words."""
        return [item for item in text.split(MANY) if item]


@dataclass(frozen=True, slots=True)
class Lines:
    """Several texts, a line each."""

    item: Kind | None = None
    """What each line is read as; None: a text."""
    widget: str = "lines"

    def unit(self, scale: Scale) -> str:  # noqa: ARG002
        """Return nothing."""
        return ""

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401
        """Return a line each."""
        return "\n".join(self.item.show(v, scale) if self.item else str(v) for v in value)

    def read(self, text: str, scale: Scale) -> list[Any]:
        """Return what the lines say."""
        lines = [line.strip() for line in re.split(r"[\n,;]", text) if line.strip()]
        return [self.item.read(line, scale) if self.item else line for line in lines]


@dataclass(frozen=True, slots=True)
class Day:
    """A date, as it is or in the order of the country."""

    widget: str = "text"

    def unit(self, scale: Scale) -> str:  # noqa: ARG002
        """Return nothing."""
        return ""

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401, ARG002
        """Return YYYY-MM-DD."""
        return str(value)

    def read(self, text: str, scale: Scale) -> str:  # noqa: ARG002
        """Return YYYY-MM-DD."""
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text) is None:
            raise NotRead(f"“{text[:20]}” is no date; type one such as 2026-12-25, a line each.")
        return text


@dataclass(frozen=True, slots=True)
class Window:
    """A defrost: when it begins, and for how many minutes."""

    widget: str = "text"

    def unit(self, scale: Scale) -> str:  # noqa: ARG002
        """Return nothing."""
        return ""

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401, ARG002
        """Return it as the file has it, which people read as well."""
        return str(value).replace("/", " for ")

    def read(self, text: str, scale: Scale) -> str:  # noqa: ARG002
        """Return HH:MM/LENGTH."""
        found = re.fullmatch(r"(\d{1,2}):(\d{2})\s*(?:/|for|,)?\s*(\d+\s*[hms]?.*)", text)
        if found is None:
            raise NotRead(
                f"“{text[:20]}” is no defrost; type when it begins and how long it lasts, such "
                "as 02:00 for 25m, a line each."
            )
        length = re.sub(r"\s*min(utes?)?$", "m", found[3].strip()).replace(" ", "")
        length = f"{length}m" if length.isdigit() else length
        return f"{int(found[1]):02}:{found[2]}/{length}"


@dataclass(frozen=True, slots=True)
class Secret:
    """What is written and never shown: where it is kept may be."""

    is_list: bool = False
    widget: str = "secret"

    def unit(self, scale: Scale) -> str:  # noqa: ARG002
        """Return nothing."""
        return ""

    def show(self, value: Any, scale: Scale) -> str:  # noqa: ANN401, ARG002
        """Return nothing: nobody reads it here."""
        return ""

    def read(self, text: str, scale: Scale) -> Any:  # noqa: ANN401, ARG002
        """Return what is to be kept."""
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        return lines if self.is_list else text

    @staticmethod
    def held(value: Any) -> str:  # noqa: ANN401 (one text or several)
        """Return what may be said of it: how many there are, and of which service each is."""
        items = value if isinstance(value, list) else [value] if value else []
        return MANY.join(_service(str(item)) for item in items) or "nothing yet"


def plain(value: float) -> str:
    """Return a number as somebody would type it, two decimals at most.

    >>> plain(41.0), plain(37.94), plain(-18.0), plain(0.3)
    ('41', '37.94', '-18', '0.3')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _number(text: str, wanted: str) -> float:
    """Return a number that somebody typed, with a comma or a point, and either minus."""
    try:
        found = float(text.strip().replace(",", ".").replace("−", "-").replace("–", "-"))
    except ValueError:
        found = float("nan")
    if not abs(found) < 1e12:
        raise NotRead(f"“{text[:20]}” is no number; type {wanted}.")
    return found


def _service(address: str) -> str:
    """Return what an address may say of itself: its service, or where it is kept."""
    if address.startswith(("env:", "file:")):
        return f"kept in {address}"
    scheme, found, _ = address.partition("://")
    return f"{scheme}://…" if found and scheme.isalnum() and len(scheme) < 16 else "kept here"
