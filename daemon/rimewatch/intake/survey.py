"""What is said on a broker, and what each topic seems to be: probes found by listening.

Guesses, and says so: a format by its form, a field by its name and its values, a scale by
its range. A person reads the proposal before a shop relies on it.

Pure: no clock, no I/O. Bounded: so many topics, so many messages of each.
"""

import math
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median
from typing import Final

from pydantic_core import from_json

from rimewatch.intake.batches_heard import batch_of, beside, values_of
from rimewatch.intake.decoders.draft import Undecodable
from rimewatch.intake.decoders.senml import resolve
from rimewatch.intake.decoders.senml_pack import load_pack
from rimewatch.intake.decoders.times import instant_ms
from rimewatch.intake.decoders.values import CONTACT_WORDS, number_in
from rimewatch.intake.field_names import (
    BATTERY_NAMES,
    DOOR_NAMES,
    HUMIDITY_NAMES,
    ID_NAMES,
    TEMPERATURE_NAMES,
    TIME_NAMES,
    WATER_NAMES,
    named,
)
from rimewatch.intake.sparkplug.payload import read_payload
from rimewatch.intake.sparkplug.topics import Kind, heard
from rimewatch.science.scales import (
    ZERO_CELSIUS_KELVIN,
    celsius_of_fahrenheit,
    celsius_of_kelvin,
)
from rimewatch.vocabulary import MS_PER_S

MOST_TOPICS: Final = 1000
MOST_DEVICES: Final = 50
"""Devices told apart on one topic."""
MOST_LEAVES: Final = 60
DEEPEST: Final = 5
KEPT: Final = 200
"""Messages of a topic that are looked at, the newest. These bounds are our choice."""
MOST_BYTES: Final = 64 * 1024

TEMPERATURES: Final = ("air", "product")
"""What a thermometer may measure; listening alone cannot tell which, a person can."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """What a topic, or one device on it, seems to be."""

    topic: str
    messages: int
    format: str
    """A format of the configuration, or ``unknown``."""
    measures: str = ""
    """``air`` (``product`` once a person said so), ``door``, ``water``, ``humidity``; empty:
    nothing a probe sends.
    """
    value: str = ""
    """Path or name of the value."""
    time: str = ""
    battery: str = ""
    match: tuple[str, str | float] | None = None
    scale: str = "C"
    interval_s: float | None = None
    low: float | None = None
    """As sent."""
    high: float | None = None
    last: str = ""
    likeness: str = ""
    """In words: "a freezer", "a display case or walk-in", "a door contact"."""
    kind: str = ""
    """The kind of unit it would sit in, where that can be told."""
    retained: bool = False
    unread: tuple[str, ...] = ()
    """Paths of further values in the message's list, which :attr:`value` does not take."""

    @property
    def span(self) -> str:
        """What was heard from the lowest to the highest, with its unit; empty: no number."""
        if self.low is None or self.high is None:
            return ""
        both = f"{self.low:g}" if self.low == self.high else f"{self.low:g} to {self.high:g}"
        if self.measures == "humidity":
            return f"{both} %"
        if self.measures not in TEMPERATURES:
            return both
        return f"{both} {'K' if self.scale == 'K' else f'°{self.scale}'}"


@dataclass(slots=True)
class _Series:
    """One value of one topic over the messages."""

    values: deque[object] = field(default_factory=lambda: deque(maxlen=KEPT))
    arrived_ms: deque[int] = field(default_factory=lambda: deque(maxlen=KEPT))


@dataclass(slots=True)
class _Topic:
    messages: int = 0
    payloads: deque[tuple[int, bytes]] = field(default_factory=lambda: deque(maxlen=KEPT))
    retained: bool = False


class Survey:
    """Collects messages and says what they seem to be."""

    def __init__(self) -> None:
        self._topics: dict[str, _Topic] = {}
        self.messages = 0
        self.left_out = 0
        """Messages on more topics than are followed."""

    def add(self, topic: str, payload: bytes, arrived_ms: int, *, retained: bool = False) -> None:
        """Take a message of any topic and content."""
        self.messages += 1
        known = self._topics.get(topic)
        if known is None:
            if len(self._topics) >= MOST_TOPICS:
                self.left_out += 1
                return
            known = self._topics[topic] = _Topic()
        known.messages += 1
        known.retained = known.retained or retained
        known.payloads.append((arrived_ms, payload[:MOST_BYTES]))

    def guesses(self) -> list[Guess]:
        """Return what there is so far, by topic."""
        found: list[Guess] = []
        for topic in sorted(self._topics):
            found += _guesses(topic, self._topics[topic])
        return found


def _guesses(topic: str, seen: _Topic) -> list[Guess]:
    if topic.startswith("spBv1.0/"):
        return _sparkplug(topic, seen)
    newest = seen.payloads[-1][1]
    shown = _shown(newest)
    numbers = _Series()
    words = _Series()
    for at_ms, payload in seen.payloads:
        text = payload[:100].decode(errors="replace").strip()
        try:
            value = number_in(text)
        except Undecodable:
            if text.lower() in CONTACT_WORDS:
                words.values.append(text.lower())
                words.arrived_ms.append(at_ms)
            continue
        numbers.values.append(value)
        numbers.arrived_ms.append(at_ms)
    size = len(seen.payloads)
    if len(numbers.values) + len(words.values) == size:
        series = numbers if numbers.values else words
        measures = _measures(topic.rsplit("/", 1)[-1], series.values)
        return [_guess(topic, seen, "number", series, measures, last=shown)]
    records = _senml(topic, seen, shown)
    if records:
        return records
    documents = [(at_ms, _document(payload)) for at_ms, payload in seen.payloads]
    leaves = [
        (at_ms, dict(_leaves(doc))) for at_ms, doc in documents if isinstance(doc, dict | list)
    ]
    if not leaves:
        return [Guess(topic=topic, messages=seen.messages, format="unknown", last=shown)]
    return _json(topic, seen, leaves, shown)


def _json(
    topic: str, seen: _Topic, leaves: list[tuple[int, dict[str, object]]], shown: str
) -> list[Guess]:
    mark = _mark(leaves)
    groups: dict[str | float | None, list[tuple[int, dict[str, object]]]] = {}
    for at_ms, found in leaves:
        key = None if mark is None else found.get(mark)
        if isinstance(key, str | int | float) or key is None:
            groups.setdefault(key, []).append((at_ms, found))
    guesses: list[Guess] = []
    for device, rows in list(groups.items())[:MOST_DEVICES]:
        if mark is not None and device is None:
            continue
        names = list(dict.fromkeys(name for _, row in rows for name in row))
        value, measures = _value(names, rows, topic)
        if not value:
            guesses.append(Guess(topic=topic, messages=seen.messages, format="json", last=shown))
            continue
        holders = [(at_ms, row) for at_ms, row in rows if value in row]
        batch = batch_of(value, [row for _, row in holders])
        series = _Series()
        for at_ms, row in holders:
            series.values.extend([row[value]] if batch is None else values_of(batch, row))
            series.arrived_ms.append(at_ms)
        times = [n for n in named(names, TIME_NAMES) if instant_ms(rows[-1][1].get(n)) is not None]
        time = batch.time if batch else times[0] if times else ""
        batteries = [n for n in named(names, BATTERY_NAMES) if _is_number(rows[-1][1].get(n))]
        guesses.append(
            _guess(
                topic,
                seen,
                "json",
                series,
                measures,
                value=batch.value if batch else value,
                time=time,
                battery=batteries[0] if batteries else "",
                match=None if mark is None or device is None else (mark, device),
                unread=() if batch else beside(value, [row for _, row in holders]),
                last=shown,
            )
        )
    return guesses


def _mark(leaves: list[tuple[int, dict[str, object]]]) -> str | None:
    """Return the path whose values tell several devices apart, if there is one."""
    names = dict.fromkeys(name for _, row in leaves for name in row)
    for name in named(names, ID_NAMES):
        found = [row.get(name) for _, row in leaves]
        distinct = {v for v in found if isinstance(v, str | int) and not isinstance(v, bool)}
        if 1 < len(distinct) <= MOST_DEVICES and len(distinct) < max(3, len(found)):
            return name
    return None


def _value(
    names: list[str], rows: list[tuple[int, dict[str, object]]], topic: str
) -> tuple[str, str]:
    """Return the path of what a probe measures, and what that is; empty if there is none."""
    kinds = (
        (TEMPERATURE_NAMES, "air", _is_number),
        (DOOR_NAMES, "door", _is_contact),
        (WATER_NAMES, "water", _is_contact),
        (HUMIDITY_NAMES, "humidity", _is_number),
        (("value", "v", "val"), "", lambda value: _is_number(value) or _is_contact(value)),
    )
    for known, measures, fits in kinds:
        for name in named(names, known):
            found = [row[name] for _, row in rows if name in row]
            if all(map(fits, found)):
                return name, measures or _measures(topic.rsplit("/", 1)[-1], found)
    return "", ""


def _senml(topic: str, seen: _Topic, shown: str) -> list[Guess]:
    names: dict[str, tuple[_Series, str | None]] = {}
    for at_ms, payload in seen.payloads:
        try:
            records = resolve(load_pack(payload))
        except Undecodable:
            return []
        for record in records[:MOST_LEAVES]:
            series = names.setdefault(record.name, (_Series(), record.unit))[0]
            series.values.append(record.value)
            series.arrived_ms.append(at_ms)
    found: list[Guess] = []
    for name, (series, unit) in names.items():
        measures = {"Cel": "air", "K": "air", "%RH": "humidity"}.get(unit or "", "")
        if measures:
            # SenML names its units, and is read in °C whatever they are.
            low = -ZERO_CELSIUS_KELVIN if unit == "K" else 0.0
            series.values = deque(
                (v + low if _is_number(v) else v for v in series.values),  # type: ignore[operator]
                maxlen=KEPT,
            )
            found.append(
                _guess(topic, seen, "senml", series, measures, value=name, last=shown, scale="C")
            )
    return found


def _sparkplug(topic: str, seen: _Topic) -> list[Guess]:
    said = heard(topic)
    if said is None or said.kind not in (Kind.NBIRTH, Kind.DBIRTH):
        return []
    try:
        payload = read_payload(seen.payloads[-1][1])
    except Undecodable:
        return []
    source = topic.replace(f"/{said.kind.value}/", "/+/", 1)
    found: list[Guess] = []
    for metric in payload.metrics:
        if metric.name is None:
            continue
        value, measures = _value([metric.name], [(0, {metric.name: metric.value})], source)
        if value:
            series = _Series()
            series.values.append(metric.value)
            series.arrived_ms.append(seen.payloads[-1][0])
            found.append(
                _guess(
                    source, seen, "sparkplug", series, measures, value=value, last=str(metric.value)
                )
            )
    return found


def _guess(
    topic: str,
    seen: _Topic,
    form: str,
    series: _Series,
    measures: str,
    *,
    last: str,
    scale: str | None = None,
    value: str = "",
    time: str = "",
    battery: str = "",
    match: tuple[str, str | float] | None = None,
    unread: tuple[str, ...] = (),
) -> Guess:
    numbers = [float(v) for v in series.values if _is_number(v)]  # type: ignore[arg-type]
    finite = [v for v in numbers if math.isfinite(v)]
    if scale is None:
        scale = _scale(value or topic.rsplit("/", 1)[-1], finite) if measures == "air" else "C"
    likeness, kind = _likeness(measures, scale, finite)
    return Guess(
        topic=topic,
        messages=seen.messages,
        format=form,
        measures=measures,
        value=value,
        time=time,
        battery=battery,
        match=match,
        scale=scale,
        interval_s=_interval_s(series.arrived_ms),
        low=min(finite, default=None),
        high=max(finite, default=None),
        last=last,
        likeness=likeness,
        kind=kind,
        retained=seen.retained,
        unread=unread,
    )


def _scale(name: str, values: list[float]) -> str:
    """Return the scale a temperature seems to be in: by its name, or else by its range.

    Nothing kept cold is at 30 to 60 °C, and nothing at 200 to 330 but in kelvin.
    """
    lowered = name.lower()
    if "fahrenheit" in lowered or lowered.endswith(("_f", ".tf")) or lowered == "tf":
        return "F"
    if "celsius" in lowered or lowered.endswith("_c") or not values:
        return "C"
    middle = median(values)
    if 200.0 <= middle <= 330.0:
        return "K"
    return "F" if 30.0 <= middle <= 60.0 else "C"


def _likeness(measures: str, scale: str, values: list[float]) -> tuple[str, str]:
    if measures == "door":
        return "a door contact", ""
    if measures == "water":
        return "a water contact", ""
    if measures == "humidity":
        return "humidity", ""
    if measures != "air" or not values:
        return "", ""
    middle = median(values)
    celsius = {"F": celsius_of_fahrenheit(middle), "K": celsius_of_kelvin(middle)}.get(
        scale, middle
    )
    if celsius <= -45.0:
        return "an ultra-low freezer", "ultra-low-freezer"
    if celsius <= -8.0:
        return "a freezer", "freezer"
    if celsius <= 10.0:
        return "a display case or walk-in", "display-case"
    return "a temperature, not cold", ""


def _interval_s(arrived_ms: deque[int]) -> float | None:
    times = list(arrived_ms)
    steps = [b - a for a, b in pairwise(times) if b > a]
    return median(steps) / MS_PER_S if steps else None


def _measures(name: str, values: deque[object] | list[object]) -> str:
    """Return what bare values measure, by the topic's last level and by what they are."""
    lowered = name.lower()
    is_contact = all(_is_contact(v) for v in values)
    if any(word in lowered for word in WATER_NAMES) and is_contact:
        return "water"
    if any(word in lowered for word in HUMIDITY_NAMES):
        return "humidity"
    if is_contact and (any(w in lowered for w in DOOR_NAMES) or not all(map(_is_number, values))):
        return "door"
    return "air" if all(map(_is_number, values)) else ""


def _document(payload: bytes) -> object:
    try:
        return from_json(payload)
    except ValueError:
        return None


def _leaves(document: object, path: str = "", depth: int = 0) -> Iterator[tuple[str, object]]:
    """Yield path and value of each plain value, as JMESPath names it; so many, so deep."""
    if depth > DEEPEST:
        return
    if isinstance(document, Mapping):
        for key, value in list(document.items())[:MOST_LEAVES]:
            plain = key.replace("_", "a").isalnum() and key.isascii() and not key[:1].isdigit()
            name = key if plain else '"' + key.replace("\\", "\\\\").replace('"', '\\"') + '"'
            yield from _leaves(value, f"{path}.{name}" if path else name, depth + 1)
    elif isinstance(document, list):
        for index, value in enumerate(document[:4]):
            yield from _leaves(value, f"{path}[{index}]", depth + 1)
    else:
        yield path, document


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_contact(value: object) -> bool:
    if isinstance(value, str):
        return value.strip().lower() in CONTACT_WORDS
    return isinstance(value, bool | int | float) and value in (0, 1)


def _shown(payload: bytes) -> str:
    text = payload[:60].decode(errors="replace")
    return "".join(c if c.isprintable() else "·" for c in text)
