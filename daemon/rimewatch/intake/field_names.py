"""Names that devices give to what they send, and how they are found among a payload's paths.

Common practice, no source. Pure.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Final

TEMPERATURE_NAMES: Final = (
    "temperature",
    "temp",
    "celsius",
    "fahrenheit",
    "degrees",
    "tc",
    "tf",
    "t",
)
DOOR_NAMES: Final = ("open", "door", "contact", "reed", "state")
WATER_NAMES: Final = ("water", "leak", "wet")
HUMIDITY_NAMES: Final = ("humidity", "humid", "rh")
TIME_NAMES: Final = ("ts", "time", "timestamp", "datetime", "at", "measured")
BATTERY_NAMES: Final = ("battery", "bat", "batt", "vbat")
ID_NAMES: Final = ("id", "device", "sensor", "mac", "addr", "serial", "name", "node")

_PLACES: Final = re.compile(r"(\[[0-9]+\])+$")


def named(paths: Iterable[str], known: tuple[str, ...]) -> Iterator[str]:
    """Yield the paths whose last part is one of the known names, in the order of those.

    >>> list(named(["a.temp", "rssi", "t[0]"], TEMPERATURE_NAMES))
    ['a.temp', 't[0]']
    """
    last = {path: _last_part(path) for path in paths}
    for word in known:
        yield from (path for path in last if last[path] == word)
    for word in known:
        if len(word) > 2:
            yield from (path for path in last if last[path] != word and word in last[path])


def _last_part(path: str) -> str:
    part = _PLACES.sub("", path).rsplit(".", 1)[-1]
    return part.strip('"').rsplit("/", 1)[-1].lower()
