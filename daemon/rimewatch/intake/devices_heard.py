"""Which device a topic speaks of: the level that varies between siblings, and not the quantity's.

``BRIDGE/Sushi case`` and ``BRIDGE/Chest freezer`` are two devices, ``case-1/air`` and
``case-1/door`` one; ``device-4f/status/temperature:0`` is named by its first level. Pure.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from rimewatch.intake.field_names import is_quiet
from rimewatch.intake.survey import Guess


class Device(NamedTuple):
    """A device, or a place of one that sends for several."""

    levels: tuple[str, ...]
    """The levels of the topic that lead to it, without those of quantities and roles."""
    mark: str = ""
    inner: str = ""

    @property
    def name(self) -> str:
        """What it calls itself, as short as it may be."""
        own = self.mark or (self.levels[-1] if self.levels else "unit")
        if not self.inner:
            return own
        says_enough = any(len(word) > 2 and not word.isdigit() for word in self.inner.split())
        return self.inner if says_enough else f"{own} {self.inner}"

    @property
    def long_name(self) -> str:
        """The same with all that leads to it."""
        return " ".join(part for part in (*self.levels, self.mark, self.inner) if part)


def devices_of(guesses: Iterable[Guess], thermometers: Iterable[Guess]) -> dict[Guess, Device]:
    """Return the device of each guess.

    Args:
        guesses: What was heard.
        thermometers: Those of the guesses that tell a temperature: what varies between them
            names devices; what varies between a device's other values does not.
    """
    topics = {_levels(guess) for guess in thermometers}
    siblings: dict[tuple[str, ...], set[str]] = {}
    for levels in topics:
        for place, level in enumerate(levels):
            siblings.setdefault(levels[:place], set()).add(level)
    return {
        guess: Device(
            levels=_device_levels(_levels(guess), siblings),
            mark="" if guess.match is None else _mark(guess.match[1]),
            inner=guess.inner,
        )
        for guess in guesses
    }


def names_of(devices: Sequence[Device]) -> Mapping[Device, str]:
    """Return a name for each device that no other one has."""
    short = [device.name for device in devices]
    return {
        device: device.name if short.count(device.name) == 1 else device.long_name
        for device in devices
    }


def _levels(guess: Guess) -> tuple[str, ...]:
    levels = tuple(level for level in guess.topic.split("/") if level)
    if guess.format == "sparkplug":
        return tuple(level for level in levels[1:] if level != "+")
    return levels


def _mark(value: str | float) -> str:
    """Return a mark as a name; a quantity's ("temperature") names no device."""
    text = str(value)
    return "" if is_quiet(text) else text


def _device_levels(
    levels: tuple[str, ...], siblings: Mapping[tuple[str, ...], set[str]]
) -> tuple[str, ...]:
    naming = [place for place, level in enumerate(levels) if not is_quiet(level)]
    last = len(levels) - 1
    varying = [
        place
        for place in naming
        if len(siblings.get(levels[:place], set()) | _own(levels, place, last)) > 1
    ]
    worded = [place for place in naming if not levels[place].isdigit()]
    chosen = varying or worded or naming
    if not chosen:
        return levels[:1]
    return tuple(levels[place] for place in naming if place <= chosen[-1])


def _own(levels: tuple[str, ...], place: int, last: int) -> set[str]:
    """Return a topic's own level, as a sibling of the thermometers'.

    A bare number at the end counts a device's values, or devices: thermometers decide.
    """
    return set() if place == last and levels[place].isdigit() else {levels[place]}
