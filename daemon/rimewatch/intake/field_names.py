"""Names that devices give to what they send: what a word says of a value, and of a place.

A name is taken apart into words (``deviceTempF`` is device, temp, f) and judged by them, so that
"attempts" holds no "temp". Common practice, no source. Pure.
"""

import re
from collections.abc import Iterable, Iterator
from enum import StrEnum
from functools import lru_cache
from typing import Final
from unicodedata import combining, normalize

from rimewatch.vocabulary import Scale, TrueMeans


class Role(StrEnum):
    """What a name says that a value is."""

    TEMPERATURE = "temperature"
    PRODUCT = "product"
    """A temperature inside the fish, or in what stands for it."""
    DOOR = "door"
    WATER = "water"
    HUMIDITY = "humidity"
    BATTERY = "battery"
    OTHER = "other"
    """Something that no probe for fish measures, whatever its number."""


TIME_NAMES: Final = ("ts", "time", "timestamp", "datetime", "at", "measured")
ID_NAMES: Final = ("id", "device", "sensor", "mac", "addr", "address", "serial", "name", "node")
UNIT_NAMES: Final = ("unit", "units", "uom", "scale")

_PLACES: Final = re.compile(r"(\[[0-9]+\])+$")
_PARTS: Final = re.compile(r'"((?:\\.|[^"\\])*)"|([^.\[\]"]+)|\[[^\]]*\]')
_WORDS: Final = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[0-9]+")
_ADDRESS: Final = re.compile(r"(10|22|28|3b|42)[-.:]?[0-9a-f]{6,14}", re.IGNORECASE)
"""A one-wire thermometer's family code and number, as its drivers write it."""

_TEMPERATURE: Final = frozenset(
    (
        *("temperature", "temperatures", "temp", "temps", "thermometer"),
        *("temperatura", "temperaturas", "temperatur", "temperaturen", "temperatuur"),
    )
)
_TEMPERATURE_ALONE: Final = frozenset(("t", "tc", "tf", "tk", "celsius", "fahrenheit", "air"))
"""These mean a temperature where little else stands beside them."""
_PRODUCT: Final = frozenset(("core", "product", "food", "fish", "glycol"))
_DOOR: Final = frozenset(
    (
        *("door", "contact", "reed", "magnet", "open", "closed", "shut", "lid"),
        *("puerta", "porta", "porte", "deur"),
    )
)
_WATER: Final = frozenset(("water", "leak", "wet", "dry", "flood"))
_HUMIDITY: Final = frozenset(
    (
        *("humidity", "humid", "rh", "hum", "humedad", "humidite", "umidita", "umidade"),
        *("feuchte", "luftfeuchte", "luftfeuchtigkeit"),
    )
)
_BATTERY: Final = frozenset(
    ("battery", "bat", "batt", "vbat", "batv", "bateria", "batterie", "batteria")
)
_NOT_READINGS: Final = frozenset(
    # What was set, counted or worked out, and not measured where the fish is.
    (
        *(
            "setpoint",
            "set",
            "target",
            "desired",
            "min",
            "max",
            "minimum",
            "maximum",
            "low",
            "high",
        ),
        *("limit", "threshold", "offset", "alarm", "hysteresis", "differential", "calibration"),
        *("dew", "dewpoint", "trend", "delta", "diff", "slope", "correction", "correct"),
        # The device's own inside and its radio.
        *("device", "chip", "cpu", "mcu", "board", "soc", "rx", "rxinfo", "radio", "gateway"),
        *("wifi", "modem", "system", "rssi", "snr", "lqi", "linkquality", "signal", "noise"),
        *("voltage", "volt", "volts", "mv", "power", "devicepower", "energy", "amps", "charge"),
        # Counters, clocks, labels of things.
        *("count", "counter", "seq", "sequence", "fcnt", "uptime", "heap", "attempts", "retries"),
        *("errors", "error", "version", "channel", "port", "interval", "period", "duration", "age"),
        *("id", "index", "address", "frequency", "lat", "lon", "altitude", "location", "precision"),
        # The refrigerating machine's, some of them as cold as air: no fish hangs there.
        *("evaporator", "evap", "coil", "condenser", "suction", "discharge", "superheat"),
        *("subcooling", "subcool", "refrigerant", "compressor", "defrost", "pipe", "heater"),
        # Other quantities.
        *(
            "pressure",
            "co2",
            "voc",
            "lux",
            "light",
            "illuminance",
            "ph",
            "speed",
            "weight",
            "level",
        ),
    )
)
_WORKED_OUT: Final = frozenset(
    ("avg", "average", "mean", "median", "last", "previous", "prev", "smoothed", "filtered")
)
"""Of one thermometer, beside what it measures now."""
_SETTINGS: Final = frozenset(
    (
        *("set", "setpoint", "setpoints", "target", "desired", "cmd", "command", "config"),
        *("settings", "limits", "thresholds", "calibration"),
    )
)
"""Levels of a topic on which something is set, and not measured."""
_ELSEWHERE: Final = frozenset(
    (
        *("outside", "outdoor", "outdoors", "weather", "garden", "street", "yard", "terrace"),
        *("sink", "boiler", "heating", "radiator", "hot", "office", "hall", "attic", "cellar"),
    )
)
"""Places that hold no fish, though they may be as cold on some days."""
_NOT_AROUND: Final = frozenset(
    (
        *("rx", "rxinfo", "radio", "wifi", "modem", "system", "cpu", "mcu", "soc", "config"),
        *("settings", "calibration", "limits", "thresholds", "setpoints", "min", "max", "alarm"),
    )
)
"""Of a group of values: nothing in it is a reading."""
_PLACES_OF_OWN: Final = frozenset(
    ("fridge", "freezer", "refrigerator", "cooler", "chiller", "case", "cabinet", "walkin", "walk")
)
"""What people call a cold unit; a bare number under such a key is its temperature."""
_FROZEN: Final = frozenset(("freezer", "frz", "freeze", "frozen", "deepfreeze", "congelador"))
_WRAPPERS: Final = frozenset(
    # Words around a value that name neither what it is nor where.
    (
        *("value", "values", "val", "v", "current", "now", "reading", "readings", "last", "mean"),
        *("data", "fields", "payload", "object", "objects", "sensors", "sensor", "sensordata"),
        *("measurements", "measurement", "metrics", "telemetry", "uplink", "message", "decoded"),
        *("params", "properties", "attributes", "state", "status", "report", "event", "events"),
        *("up", "tele", "stat", "probe", "probes", "device", "json", "raw", "result", "results"),
        *("air", "core", "product", "logger", "log", "channels", "output", "input"),
    )
)
_SITES: Final = frozenset(
    ("top", "bottom", "upper", "lower", "left", "right", "return", "supply", "inside", "inner")
)
"""Where inside one unit a probe hangs."""
_SCALES: Final = {
    "c": Scale.CELSIUS,
    "tc": Scale.CELSIUS,
    "celsius": Scale.CELSIUS,
    "f": Scale.FAHRENHEIT,
    "tf": Scale.FAHRENHEIT,
    "fahrenheit": Scale.FAHRENHEIT,
    "k": Scale.KELVIN,
    "kelvin": Scale.KELVIN,
}
_TRUE_MEANS: Final = {
    **dict.fromkeys(("contact", "reed", "magnet", "closed", "shut"), TrueMeans.SHUT),
    "open": TrueMeans.OPEN,
    "dry": TrueMeans.DRY,
    **dict.fromkeys(("leak", "wet", "flood"), TrueMeans.WET),
}
_MEANS_FOR_SURE: Final = frozenset(("open", "closed", "shut", "dry", "leak", "wet", "flood"))


def named(paths: Iterable[str], known: tuple[str, ...]) -> Iterator[str]:
    """Yield the paths whose last part is one of the known names, in the order of those.

    >>> list(named(["rssi", "a.time", "ts[0]"], TIME_NAMES))
    ['ts[0]', 'a.time']
    """
    last = {path: _last_part(path) for path in paths}
    for word in known:
        yield from (path for path in last if last[path] == word)
    for word in known:
        if len(word) > 2:
            yield from (path for path in last if last[path] != word and word in last[path])


@lru_cache(maxsize=4096)
def parts_of(path: str) -> tuple[str, ...]:
    """Return the keys of a path, without places in lists; slashes part names as well.

    >>> parts_of('sensors[0]."Air/Temp 1".v')
    ('sensors', 'Air', 'Temp 1', 'v')
    """
    found = (quoted or plain for quoted, plain in _PARTS.findall(path))
    return tuple(part for name in found for part in re.split(r"[/:]", name) if part)


@lru_cache(maxsize=4096)
def words_of(name: str) -> tuple[str, ...]:
    """Return the words of a name, in lower case and without accents.

    >>> words_of("deviceTempF"), words_of("temperature:0"), words_of("Température")
    (('device', 'temp', 'f'), ('temperature', '0'), ('temperature',))
    """
    plain = "".join(sign for sign in normalize("NFKD", name) if not combining(sign))
    return tuple(word.lower() for word in _WORDS.findall(plain))


def is_address(name: str) -> bool:
    """Return whether a name is a one-wire thermometer's address."""
    return _ADDRESS.fullmatch(name) is not None


def role_of(name: str) -> Role | None:
    """Return what a single name says that a value is; None: nothing.

    >>> role_of("tempF"), role_of("attempts"), role_of("temp_min"), role_of("fridge")
    (<Role.TEMPERATURE: 'temperature'>, <Role.OTHER: 'other'>, <Role.OTHER: 'other'>, None)
    """
    words = set(words_of(name))
    if any(word.endswith(("temp", "temperature")) for word in words):
        words.add("temperature")
    product = Role.PRODUCT if words & _PRODUCT else Role.TEMPERATURE
    for known, role in (
        (_BATTERY, Role.BATTERY),
        (_NOT_READINGS, Role.OTHER),
        (_TEMPERATURE, product),
        (_HUMIDITY, Role.HUMIDITY),
        (_WATER, Role.WATER),
        (_DOOR, Role.DOOR),
    ):
        if words & known:
            return role
    alone = {word for word in words if not word.isdigit()}
    if alone and alone <= _PRODUCT:
        return Role.PRODUCT
    is_short = alone & _TEMPERATURE_ALONE and alone <= _TEMPERATURE_ALONE | set(_SCALES) | _SITES
    return Role.TEMPERATURE if is_short or is_address(name) else None


def holds_no_readings(name: str) -> bool:
    """Return whether a group's name says that nothing in it was measured where the fish is."""
    return bool(set(words_of(name)) & _NOT_AROUND)


def is_worked_out(name: str) -> bool:
    """Return whether a name says that a value was worked out of one thermometer's others.

    >>> is_worked_out("temperature_avg"), is_worked_out("temperature")
    (True, False)
    """
    return bool(set(words_of(name)) & _WORKED_OUT)


def names_a_setting(level: str) -> bool:
    """Return whether a topic's level says that what is below it was set, and not measured.

    >>> names_a_setting("setpoint"), names_a_setting("set"), names_a_setting("set-1")
    (True, True, False)
    """
    words = set(words_of(level)) - _TEMPERATURE
    return bool(words) and words <= _SETTINGS


def names_elsewhere(level: str) -> bool:
    """Return whether a name is that of a place that holds no fish.

    >>> names_elsewhere("outside"), names_elsewhere("case-1")
    (True, False)
    """
    return bool(set(words_of(level)) & _ELSEWHERE)


def names_a_unit(name: str) -> bool:
    """Return whether a name is what people call a cold unit, such as "Chest freezer"."""
    return bool(set(words_of(name)) & _PLACES_OF_OWN)


def names_a_freezer(name: str) -> bool:
    """Return whether a name is what people call a freezer."""
    return bool(set(words_of(name)) & _FROZEN)


def is_wrapper(name: str) -> bool:
    """Return whether a name says neither what a value is nor where it was measured."""
    words = [word for word in words_of(name) if not word.isdigit()]
    return not words or all(word in _WRAPPERS for word in words)


def places_in(name: str) -> tuple[str, ...]:
    """Return the words of a name that tell one place from another; none: it names no place.

    >>> places_in("freezer_temp"), places_in("temp2"), places_in("tC"), places_in("sensors")
    (('freezer',), ('2',), (), ())
    """
    if is_address(name):
        return (name,)
    quiet = (
        _TEMPERATURE | _TEMPERATURE_ALONE | _PRODUCT | _DOOR | _WATER | _HUMIDITY | _WRAPPERS
        | _SITES | _SCALES.keys() | {"degrees", "deg"}
    )  # fmt: skip
    return tuple(word for word in words_of(name) if word not in quiet)


def is_quiet(level: str) -> bool:
    """Return whether a topic's level names a quantity or a role, and no device.

    >>> is_quiet("temperature:0"), is_quiet("SENSOR"), is_quiet("case-1"), is_quiet("probe-1")
    (True, True, False, False)
    """
    words = words_of(level)
    if not words or level.startswith("$"):
        return True
    if any(word.isdigit() for word in words):
        return role_of(level) is not None and not is_address(level)
    is_quantity = role_of(level) is not None and not names_a_unit(level)
    return is_quantity or not places_in(level)


def scale_of_name(name: str) -> Scale | None:
    """Return the scale that a name ends in, or None.

    >>> scale_of_name("tempF"), scale_of_name("temp")
    (<Scale.FAHRENHEIT: 'F'>, None)
    """
    words = [word for word in words_of(name) if not word.isdigit()]
    return _SCALES.get(words[-1]) if words else None


def true_means(name: str) -> tuple[TrueMeans | None, bool]:
    """Return what a contact's 1 seems to mean by its name, and whether that is for sure.

    >>> true_means("contact"), true_means("open"), true_means("door")
    ((<TrueMeans.SHUT: 'shut'>, False), (<TrueMeans.OPEN: 'open'>, True), (None, False))
    """
    words = words_of(name)
    found = next((_TRUE_MEANS[word] for word in words if word in _TRUE_MEANS), None)
    return found, bool(set(words) & _MEANS_FOR_SURE)


def _last_part(path: str) -> str:
    part = _PLACES.sub("", path).rsplit(".", 1)[-1]
    return part.strip('"').rsplit("/", 1)[-1].lower()
