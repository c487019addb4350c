"""What is said on a broker, and what each topic seems to be: probes found by listening.

Guesses, and says so: a format by its form, a field by its name and its values, a scale by
its range. A person reads the proposal before a shop relies on it.

Pure: no clock, no I/O. Bounded: so many topics, so many messages of each.
"""

import math
import re
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.instants import iso_ms
from rimewatch.intake.batches_heard import batch_of, values_of
from rimewatch.intake.decoders.csv_lines import columns_of, is_heading
from rimewatch.intake.decoders.documents import document_of, text_of
from rimewatch.intake.decoders.draft import Undecodable
from rimewatch.intake.decoders.json_paths import refuse_twins
from rimewatch.intake.decoders.senml import resolve
from rimewatch.intake.decoders.senml_pack import load_pack
from rimewatch.intake.decoders.times import instant_ms
from rimewatch.intake.decoders.values import (
    CONTACT_WORDS,
    PLAIN_CONTACT_WORDS,
    measured_in,
    scale_in,
)
from rimewatch.intake.field_names import (
    ID_NAMES,
    TIME_NAMES,
    UNIT_NAMES,
    Role,
    holds_no_readings,
    is_worked_out,
    is_wrapper,
    named,
    names_a_freezer,
    names_a_setting,
    names_a_unit,
    names_elsewhere,
    parts_of,
    places_in,
    role_of,
    scale_of_name,
    true_means,
    words_of,
)
from rimewatch.intake.sparkplug.payload import metric_value, read_payload
from rimewatch.intake.sparkplug.topics import Kind, NodeName, heard
from rimewatch.science.scales import (
    ZERO_CELSIUS_KELVIN,
    celsius_of_fahrenheit,
    celsius_of_kelvin,
)
from rimewatch.vocabulary import MS_PER_S, Measures, Scale, TrueMeans

MOST_TOPICS: Final = 1000
MOST_DEVICES: Final = 50
"""Devices told apart on one topic."""
MOST_LEAVES: Final = 60
MOST_GUESSES: Final = 50
"""Values of one topic or device that are told of."""
LONGEST_LIST: Final = 24
"""Elements of a list that are looked at."""
DEEPEST: Final = 5
KEPT: Final = 200
"""Messages of a topic that are looked at, the newest. These bounds are our choice."""
MOST_BYTES: Final = 64 * 1024

TEMPERATURES: Final = ("air", "product")
"""What a thermometer may measure; listening tells which only where a name says so."""

ASK_FOR_BIRTHS: Final = "ask it for its births, rimewatch listen --rebirth"
ASK_MEANS: Final = "does true (1, on) mean open? Hold it against the door, and see true_means"
_ASK_ORDER: Final = "the list names no sensor: does its order never change, not even after a fault?"
_ASK_FAHRENHEIT: Final = (
    "nothing names its scale, and {:g} °C is {} a freezer: is it {:g} °F, {:.0f} °C?"
)
_ASK_TWO: Final = "its readings lie {:.0f} degrees apart: does one device alone send there?"
_ASK_WORKED_OUT: Final = "{} is worked out: is what is measured on another topic?"
_ASK_PLACE: Final = "{} is a name of no cold unit: does fish lie there?"
_SET_THERE: Final = "what is set there, by its topic; not what is measured"
_ASK_TWIN: Final = "{}: none of its messages can be read. Can the device be mended?"
_ASK_COMMA: Final = "is the comma in {} a decimal one, or do two values stand there?"
_ASK_COLUMN: Final = "nothing names the columns of {}: is {} the value of this probe?"
_ASK_ROW: Final = "are these readings of one probe?"
_ASK_BIRTH: Final = "no birth was heard: are there more values? rimewatch listen --rebirth asks it"
_ASK_RANGE: Final = "nothing names its scale; taken for {} by its range. Is that so?"

FREEZER_BELOW_C: Final = -8.0
WIDE: Final = 10.0
COLD_FOR_A_CASE_C: Final = -2.0
"""Fish begins to freeze there; a case is warmer, a freezer far colder (our choice)."""
WARMEST_SENT: Final = 100.0
COLDEST_SENT: Final = -130.0
"""Beyond these, as sent, no number is a shop's temperature in °C or °F (our choice); kelvin is."""

_SENML_ROLES: Final = {
    "Cel": Role.TEMPERATURE,
    "K": Role.TEMPERATURE,
    "%RH": Role.HUMIDITY,
}
_DOOR_WORDS: Final = frozenset(("open", "opened", "closed", "close", "shut"))
_MEASURES: Final = {
    Role.TEMPERATURE: "air",
    Role.PRODUCT: "product",
    Role.DOOR: "door",
    Role.WATER: "water",
    Role.HUMIDITY: "humidity",
}
_NOT_MEASURED: Final = {
    Role.BATTERY: "a battery's level",
    Role.OTHER: "no temperature by its name",
}
_ELEMENT: Final = re.compile(r"([^\[\]]*)\[([0-9]+)\]\.(.+)")
"""A value in a list of groups: the list, the place, the rest of the path."""
_INDEX: Final = re.compile(r"\[([0-9]+)\]")
_LEVELS: Final = re.compile(r"[/:]")
_WHOLE_PAIR: Final = re.compile(r"[+-]?[0-9]+,[0-9]{2,}")
"""A decimal comma with two places behind it, or a temperature and a humidity in whole numbers."""
UTC_ZONE: Final = ZoneInfo("UTC")


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
    is_at_qos_0: bool = False
    """Whether nobody keeps what it sends while the service is away; Sparkplug wants it so."""
    inner: str = ""
    """What tells its place from others' in the same message; empty: it is alone there."""
    unit_field: str = ""
    """Path of the unit that comes with the value."""
    is_scale_told: bool = False
    """Whether a name or a unit tells the scale; else it is a guess by the range."""
    battery_kind: str = ""
    """What the battery's figure is: ``percent``, ``volts``, ``millivolts``."""
    true_means: str = ""
    """What a contact's true stands for, where that is not the usual."""
    clock: tuple[str, int] | None = None
    """A time that names no zone, and when it arrived."""
    asks: tuple[str, ...] = ()
    """What listening cannot tell, as questions."""

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

    def add(self, value: object, at_ms: int) -> None:
        self.values.append(value)
        self.arrived_ms.append(at_ms)


@dataclass(slots=True)
class _Topic:
    messages: int = 0
    payloads: deque[tuple[int, bytes]] = field(default_factory=lambda: deque(maxlen=KEPT))
    retained: bool = False
    qos: int = 0
    """The highest that was heard."""


class Survey:
    """Collects messages and says what they seem to be."""

    def __init__(self) -> None:
        self._topics: dict[str, _Topic] = {}
        self.messages = 0
        self.left_out = 0
        """Messages on more topics than are followed."""

    def add(
        self,
        topic: str,
        payload: bytes,
        arrived_ms: int,
        *,
        retained: bool = False,
        qos: int = 1,
    ) -> None:
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
        known.qos = max(known.qos, qos)
        known.payloads.append((arrived_ms, payload[:MOST_BYTES]))

    def guesses(self) -> list[Guess]:
        """Return what there is so far, by topic."""
        found: list[Guess] = []
        nodes: dict[str, dict[Kind, _Topic]] = {}
        for topic in sorted(self._topics):
            if (said := heard(topic)) is not None:
                if not said.kind.is_command:
                    source = topic.replace(f"/{said.kind.value}/", "/+/", 1)
                    nodes.setdefault(source, {})[said.kind] = self._topics[topic]
            elif not topic.startswith("spBv1.0/"):
                found += _guesses(topic, self._topics[topic])
        for source, kinds in nodes.items():
            found += _sparkplug(source, kinds)
        return found

    def without_birth(self) -> list[NodeName]:
        """Return the Sparkplug nodes that were heard without their births."""
        born: set[tuple[NodeName, str]] = set()
        running: set[tuple[NodeName, str]] = set()
        for said in filter(None, map(heard, self._topics)):
            if said.kind in (Kind.NBIRTH, Kind.DBIRTH):
                born.add((said.node, said.device))
            elif said.kind in (Kind.NDATA, Kind.DDATA):
                running.add((said.node, said.device))
        return sorted({node for node, _ in running - born})


def _guesses(topic: str, seen: _Topic) -> list[Guess]:
    shown = _shown(seen.payloads[-1][1])
    if any(names_a_setting(level) for level in topic.split("/")):
        form = "unknown"  # nothing to be added by hand
        return [
            Guess(topic=topic, messages=seen.messages, format=form, last=shown, likeness=_SET_THERE)
        ]
    numbers, words = _Series(), _Series()
    for at_ms, payload in seen.payloads:
        text = _text(payload)
        if text.lower() in CONTACT_WORDS and not text.isdigit():
            words.add(text.lower(), at_ms)
        elif (value := _sent(text)) is not None:
            numbers.add(value, at_ms)
    if len(numbers.values) + len(words.values) == len(seen.payloads):
        return [_bare(topic, seen, numbers if numbers.values else words, shown)]
    records = _senml(topic, seen, shown)
    if records:
        return records
    documents = [(at_ms, _document(payload)) for at_ms, payload in seen.payloads]
    leaves = [
        (at_ms, dict(_leaves(doc))) for at_ms, doc in documents if isinstance(doc, dict | list)
    ]
    if leaves:
        return _json(topic, seen, leaves, shown)
    return _columns(topic, seen, shown) or [
        Guess(topic=topic, messages=seen.messages, format="unknown", last=shown)
    ]


def _bare(topic: str, seen: _Topic, series: _Series, shown: str) -> Guess:
    levels = [level for level in topic.split("/") if level]
    name = levels[-1] if levels else ""
    roles = [role for level in reversed(levels) if (role := role_of(level)) is not None]
    role = _fitting(roles[0] if roles else None, list(series.values), is_named=False)
    means, is_sure = _means(role, [name], series.values)
    asks = [] if is_sure else [ASK_MEANS]
    text = _text(seen.payloads[-1][1])
    if is_worked_out(name) and not is_wrapper(name):
        asks.append(_ASK_WORKED_OUT.format(_plain(name)))
    if _WHOLE_PAIR.fullmatch(text):
        asks.append(_ASK_COMMA.format(text))
    return _guess(
        topic, seen, "number", series, role, last=shown, names=levels, true_means=means,
        asks=tuple(asks),
    )  # fmt: skip


def _columns(topic: str, seen: _Topic, shown: str) -> list[Guess]:
    """Return what seems to be a thermometer's column in lines without names; nothing: none is.

    Columns say nothing of themselves, so one is taken and asked about: the first that is cold,
    of those with a decimal part if there are any.
    """
    rows: list[tuple[int, list[str]]] = []
    for at_ms, payload in seen.payloads:
        try:
            lines = columns_of(payload)
        except Undecodable:
            return []
        rows += [(at_ms, row) for row in lines if len(lines) == 1 or not is_heading(row)]
    count = len(rows[-1][1]) if rows else 0
    if count < 2 or count > MOST_LEAVES or any(len(row) != count for _, row in rows):
        return []
    last = rows[-1][1]
    times = [at for at, text in enumerate(last) if iso_ms(text, UTC_ZONE) or instant_ms(text)]
    found: list[tuple[bool, int, Guess]] = []
    for at in range(count):
        series = _Series()
        for at_ms, row in rows:
            if at not in times and (number := _sent(row[at])) is not None:
                series.values.append(number)
                series.arrived_ms.append(at_ms)
        if len(series.values) != len(rows):
            continue
        is_fraction = any(number % 1 for number in series.values)  # type: ignore[operator]
        is_naive = bool(times) and instant_ms(last[times[0]]) is None
        guess = _guess(
            topic, seen, "csv", series, Role.TEMPERATURE, last=shown,
            names=[level for level in topic.split("/") if level],
            scale=_scale_sent(row[at] for _, row in rows),
            value=_column(at, count),
            time=_column(times[0], count) if times else "",
            clock=(last[times[0]], rows[-1][0]) if is_naive and not seen.retained else None,
            asks=(_ASK_COLUMN.format(shown, _column(at, count)),),
        )  # fmt: skip
        if guess.kind:
            found.append((not is_fraction, at, guess))
    return [min(found, key=lambda one: one[:2])[2]] if found else []


def _column(at: int, count: int) -> str:
    return f"{at + 1} of {count}"


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
        match = None if mark is None or device is None else (mark, device)
        values = _values_in(topic, seen, rows, match, shown)
        guesses += values or [
            Guess(topic=topic, messages=seen.messages, format="json", last=shown, match=match)
        ]
    return guesses


def _mark(leaves: list[tuple[int, dict[str, object]]]) -> str | None:
    """Return the path whose values tell several devices apart, if there is one."""
    names = dict.fromkeys(name for _, row in leaves for name in row)
    for name in named([n for n in names if "[" not in n], ID_NAMES):
        found = [row.get(name) for _, row in leaves]
        distinct = {v for v in found if isinstance(v, str | int) and not isinstance(v, bool)}
        if 1 < len(distinct) <= MOST_DEVICES and len(distinct) < max(3, len(found)):
            return name
    return None


def _values_in(
    topic: str,
    seen: _Topic,
    rows: list[tuple[int, dict[str, object]]],
    match: tuple[str, str | float] | None,
    shown: str,
) -> list[Guess]:
    """Return a guess for each value that a probe could measure, in the messages of one device."""
    said = [row for _, row in rows]
    names = list(dict.fromkeys(name for row in said for name in row))
    roles = {
        name: role for name in names if (role := _role(name, names, said, topic, match)) is not None
    }
    paths = _without_worked_out(_without_twins(roles), roles)
    inners = {path: _inner(path, said[-1]) for path in paths}
    temperatures = {inners[p] for p in paths if roles[p] in (Role.TEMPERATURE, Role.PRODUCT)}
    guesses: list[Guess] = []
    taken: set[str] = set()
    for path in paths:
        holders = [(at_ms, row) for at_ms, row in rows if row.get(path) is not None]
        batch = batch_of(path, [row for _, row in holders])
        series = _Series()
        for at_ms, row in holders:
            found = [row[path]] if batch is None else values_of(batch, row)
            series.values.extend(value for v in found if (value := _sent(v)) is not None)
            series.arrived_ms.append(at_ms)
        wanted = batch.value if batch else _by_id(path, said[-1])
        if wanted in taken or len(guesses) >= MOST_GUESSES:
            continue
        taken.add(wanted)
        asks: list[str] = []
        if batch is None and "[" in path and "[?" not in wanted:
            asks.append(_ASK_ORDER)
        if batch is not None and _is_wide(series.values):
            asks.append(_ASK_ROW)
        around = parts_of(path)
        means, is_sure = _means(roles[path], around, [row[path] for _, row in holders])
        if not is_sure:
            asks.append(ASK_MEANS)
        if twin := _twin(seen.payloads[-1][1], around):
            asks.append(_ASK_TWIN.format(twin))
        time, naive = ("", "") if batch else _time_of(path, names, said[-1])
        clock = (naive, rows[-1][0]) if naive and not seen.retained else None
        unit = _near(path, [n for n in names if _is_unit(n, said[-1])])
        guesses.append(
            _guess(
                topic,
                seen,
                "json",
                series,
                roles[path],
                names=around,
                scale=scale_in(said[-1][unit]) if unit else None,
                value=wanted,
                time=batch.time if batch else _by_id(time, said[-1]),
                battery=_by_id(_battery_of(path, names, said[-1]), said[-1]),
                battery_kind=_battery_kind(said[-1].get(_battery_of(path, names, said[-1]))),
                unit_field=_by_id(unit, said[-1]),
                match=match,
                inner="" if batch or len(temperatures) < 2 else inners[path],
                true_means=means,
                clock=clock,
                asks=tuple(asks),
                last=shown,
            )
        )
    return guesses


def _is_wide(values: Iterable[object]) -> bool:
    """Return whether readings differ more than one probe's in a row do (our choice: 10)."""
    numbers = [number for value in values if (number := _sent(value)) is not None]
    return bool(numbers) and max(numbers) - min(numbers) >= WIDE


def _role(
    path: str,
    names: list[str],
    said: list[dict[str, object]],
    topic: str,
    match: tuple[str, str | float] | None,
) -> Role | None:
    """Return what a value is, by its name, those around it, a type beside it, or the topic."""
    values = [row[path] for row in said if row.get(path) is not None]
    parts = parts_of(path)
    if not values or any(holds_no_readings(part) for part in parts[:-1]):
        return None
    leaf = parts[-1] if parts else ""
    role = role_of(leaf)
    is_open_to_others = is_wrapper(leaf) or leaf.isdigit()
    if role is None or (is_wrapper(leaf) and role is not Role.PRODUCT and leaf.lower() != "air"):
        if is_open_to_others or names_a_unit(leaf):
            role = _role_around(path, parts, names, said[-1], topic, match)
        else:
            is_of_many = len(parts) > 1 and role_of(parts[-2]) is Role.TEMPERATURE
            if not (is_of_many and _are_all_numbers(path, said)):
                return None
            role = Role.TEMPERATURE
        if role is None and names_a_unit(leaf):
            role = Role.TEMPERATURE
    fitting = _fitting(role, values, is_named=role is not None or not is_open_to_others)
    return None if fitting in (Role.OTHER, Role.BATTERY) else fitting


def _role_around(
    path: str,
    parts: tuple[str, ...],
    names: list[str],
    row: dict[str, object],
    topic: str,
    match: tuple[str, str | float] | None,
) -> Role | None:
    types = [
        row[name]
        for name in names
        if _parent(name) == _parent(path) and parts_of(name)[-1:] != () and _is_type(name)
    ]
    marks = [match[1]] if match else []
    wider = [row[name] for name in names if "." not in name and "[" not in name and _is_type(name)]
    texts = [text for text in (*types, *marks, *wider) if isinstance(text, str)]
    around = (*reversed(parts[:-1]), *texts, *reversed(topic.split("/")))
    return next((role for text in around if (role := role_of(text)) is not None), None)


def _is_type(name: str) -> bool:
    words = words_of(parts_of(name)[-1]) if parts_of(name) else ()
    return bool({"type", "kind", "quantity", "measurement", "property", "metric"} & set(words)) or (
        words == ("name",)
    )


def _fitting(role: Role | None, values: Sequence[object], *, is_named: bool) -> Role | None:
    """Return the role that the values bear out; OTHER where they are something else's."""
    are_numbers = all(_sent(value) is not None for value in values)
    are_contacts = all(_is_contact(value) for value in values)
    match role:
        case Role.TEMPERATURE | Role.PRODUCT:
            return role if are_numbers else Role.OTHER
        case Role.HUMIDITY:
            found = [v for value in values if (v := _sent(value)) is not None]
            return role if are_numbers and all(0 <= v <= 100 for v in found) else Role.OTHER
        case Role.DOOR | Role.WATER:
            return role if are_contacts else Role.OTHER
        case None if are_contacts and not are_numbers:
            is_door = all(isinstance(v, str) and v.lower() in _DOOR_WORDS for v in values)
            return Role.DOOR if is_door else Role.OTHER
        case None if are_numbers and not is_named:
            return Role.TEMPERATURE
        case _:
            return role or Role.OTHER


def _without_twins(roles: Mapping[str, Role]) -> list[str]:
    """Return the paths without the second of two that tell one temperature in two scales."""
    celsius = {
        (_parent(path), places_in(parts_of(path)[-1]))
        for path in roles
        if parts_of(path) and scale_of_name(parts_of(path)[-1]) is Scale.CELSIUS
    }
    return [
        path
        for path in roles
        if not parts_of(path)
        or scale_of_name(parts_of(path)[-1]) in (None, Scale.CELSIUS)
        or (_parent(path), places_in(parts_of(path)[-1])) not in celsius
    ]


def _without_worked_out(paths: Sequence[str], roles: Mapping[str, Role]) -> list[str]:
    """Return the paths without averages of a thermometer whose present value is there as well."""
    thermometers = [path for path in paths if roles[path] is Role.TEMPERATURE and parts_of(path)]
    worked_out = {path for path in thermometers if is_worked_out(parts_of(path)[-1])}
    plain = {_parent(path) for path in thermometers if path not in worked_out}
    return [path for path in paths if path not in worked_out or _parent(path) not in plain]


def _inner(path: str, row: dict[str, object]) -> str:
    """Return what in a message tells a value's place from others' in the same message."""
    if mark := _element_id(path, row):
        return str(mark[1])
    index = _INDEX.findall(path)
    words = [word for part in parts_of(path) for word in places_in(part)]
    return " ".join([*words, *(str(int(place) + 1) for place in index)])


def _element_id(path: str, row: dict[str, object]) -> tuple[str, str | int] | None:
    """Return by which field a list's element is told from the others, and what stands there."""
    element = _ELEMENT.match(path)
    if element is None:
        return None
    start, _, _ = element.groups()
    for name in named([n for n in row if n.startswith(f"{start}[")], ID_NAMES):
        own = _ELEMENT.match(name)
        if own is None or own[1] != start or not own[3].isidentifier():
            continue
        found = [
            value
            for n, value in row.items()
            if (other := _ELEMENT.match(n)) and (other[1], other[3]) == (start, own[3])
        ]
        mine = row.get(f"{start}[{element[2]}].{own[3]}")
        if len(found) > 1 and len(set(map(str, found))) == len(found) and _may_be_quoted(mine):
            return own[3], mine  # type: ignore[return-value]  # a text or a whole number
    return None


def _may_be_quoted(value: object) -> bool:
    if isinstance(value, str):
        return value.isprintable() and not set(value) & set("'\\`") and bool(value)
    return isinstance(value, int) and not isinstance(value, bool)


def _by_id(path: str, row: dict[str, object]) -> str:
    """Return a path that finds an element of a list by its mark, where it has one."""
    element = _ELEMENT.match(path)
    mark = _element_id(path, row) if element is not None else None
    if element is None or mark is None:
        return path
    start, _, rest = element.groups()
    name, equals = mark
    wanted = f"'{equals}'" if isinstance(equals, str) else f"`{equals}`"
    return f"{start}[?{name}=={wanted}].{rest} | [0]"


def _parent(path: str) -> str:
    return path.rsplit(".", 1)[0] if "." in path else ""


def _near(path: str, names: Iterable[str]) -> str:
    """Return the name that stands nearest to a path: beside it, or around it; empty: none."""
    around = [
        name
        for name in names
        if (parent := _parent(name)) == ""
        or path == parent
        or path.startswith((f"{parent}.", f"{parent}["))
    ]
    return max(around, key=lambda name: len(_parent(name)), default="")


def _is_unit(name: str, row: dict[str, object]) -> bool:
    words = words_of(parts_of(name)[-1]) if parts_of(name) else ()
    return bool(set(words) & set(UNIT_NAMES)) and scale_in(row.get(name)) is not None


def _time_of(path: str, names: list[str], row: dict[str, object]) -> tuple[str, str]:
    """Return the path of a value's time, and the time where it names no zone."""
    known = [
        n
        for n in named(names, TIME_NAMES)
        if instant_ms(row.get(n)) is not None or iso_ms(str(row.get(n)), UTC_ZONE) is not None
    ]
    found = _near(path, known) or next((n for n in known if "[" not in n), "")
    if not found or instant_ms(row.get(found)) is not None:
        return found, ""
    return found, str(row[found])


def _battery_of(path: str, names: list[str], row: dict[str, object]) -> str:
    known = []
    for name in names:
        parts = parts_of(name)
        own = bool(parts) and role_of(parts[-1]) is Role.BATTERY
        within = len(parts) > 1 and role_of(parts[-2]) is Role.BATTERY
        is_low = bool(parts) and bool({"low", "ok", "status", "alarm"} & set(words_of(parts[-1])))
        if (own or within) and not is_low and _sent(row.get(name)) is not None:
            known.append(name)
    known.sort(key=lambda name: _battery_kind(row.get(name)) != "percent")
    near = _near(path, known)
    return near or next((n for n in known if "[" not in n), "")


def _battery_kind(value: object) -> str:
    """Return what a battery's figure is: ``percent``, ``volts``, ``millivolts``, or nothing."""
    number = _sent(value)
    if number is None:
        return ""
    if 1000 <= number <= 15_000:
        return "millivolts"
    if 1.0 <= number <= 6.0 and number != round(number):
        return "volts"
    return "percent" if 0 <= number <= 100 else ""


def _are_all_numbers(path: str, said: list[dict[str, object]]) -> bool:
    beside = [v for n, v in said[-1].items() if _parent(n) == _parent(path)]
    return len(beside) > 1 and all(_is_number(v) for v in beside)


def _means(role: Role | None, names: Sequence[str], values: Iterable[object]) -> tuple[str, bool]:
    """Return what a contact's true seems to mean, empty for the usual, and whether that is sure."""
    if role not in (Role.DOOR, Role.WATER):
        return "", True
    said = [str(value).lower() for value in values]
    if said and all(word not in PLAIN_CONTACT_WORDS and word in CONTACT_WORDS for word in said):
        return "", True
    found = [true_means(name) for name in reversed(names)]
    means, is_sure = next((one for one in found if one[0] is not None), (None, False))
    if means is None or means.is_one:
        return "", is_sure
    fits = (role is Role.DOOR) == (means is TrueMeans.SHUT)
    return (str(means), is_sure) if fits else ("", False)


def _senml(topic: str, seen: _Topic, shown: str) -> list[Guess]:
    names: dict[str, tuple[_Series, str | None]] = {}
    for at_ms, payload in seen.payloads:
        try:
            records = resolve(load_pack(payload))
        except Undecodable:
            return []
        for record in records[:MOST_LEAVES]:
            if record.value is not None:
                names.setdefault(record.name, (_Series(), record.unit))[0].add(record.value, at_ms)
    roles: dict[str, Role] = {}
    for name, (series, unit) in names.items():
        role = _SENML_ROLES.get(unit or "")
        levels = _LEVELS.split(name)
        if role_of(levels[-1]) is Role.OTHER or any(map(names_a_setting, levels)):
            continue
        is_switch = unit in (None, "/") and all(_is_contact(v) for v in series.values)
        if role is None and is_switch:
            said = [r for level in _LEVELS.split(name) if (r := role_of(level))]
            role = said[-1] if said and said[-1] in (Role.DOOR, Role.WATER) else None
        if role is not None:
            roles[name] = role
    inners = {
        name: " ".join(w for p in _LEVELS.split(name) for w in places_in(p)) for name in roles
    }
    temperatures = {inners[name] for name, role in roles.items() if role is Role.TEMPERATURE}
    found: list[Guess] = []
    for name, role in roles.items():
        series, unit = names[name]
        # SenML names its units, and is read in °C whatever they are.
        low = -ZERO_CELSIUS_KELVIN if unit == "K" else 0.0
        series.values = deque(
            (v + low if _is_number(v) else v for v in series.values),  # type: ignore[operator]
            maxlen=KEPT,
        )
        means, is_sure = _means(role, _LEVELS.split(name), series.values)
        found.append(
            _guess(
                topic, seen, "senml", series, role, value=name, last=shown, names=(name,),
                scale=Scale.CELSIUS, inner=inners[name] if len(temperatures) > 1 else "",
                true_means=means, asks=() if is_sure else (ASK_MEANS,),
            )
        )  # fmt: skip
    return found


def _sparkplug(source: str, kinds: Mapping[Kind, _Topic]) -> list[Guess]:
    """Return what a node or device sends, by its birth, or else by names in its data."""
    birth = kinds.get(Kind.NBIRTH) or kinds.get(Kind.DBIRTH)
    seen = birth or next(iter(kinds.values()))
    series: dict[str, _Series] = {}
    for at_ms, data in seen.payloads:
        try:
            payload = read_payload(data)
        except Undecodable:
            continue
        for metric in payload.metrics:
            if metric.name is not None and not metric.is_null:
                value = metric_value(metric, metric.datatype)
                series.setdefault(metric.name, _Series()).add(value, at_ms)
    names = list(series)
    rows = [{_quoted(name): series[name].values[-1] for name in names}]
    roles: dict[str, Role] = {}
    for name in names:
        role = _role(_quoted(name), list(rows[0]), rows, "", None)
        if role is not None:
            roles[name] = role
    inners = {name: _inner(_quoted(name), rows[0]) for name in roles}
    temperatures = {inners[n] for n, r in roles.items() if r in (Role.TEMPERATURE, Role.PRODUCT)}
    batteries = [n for n in names if _is_battery(parts_of(_quoted(n)))]
    batteries = [n for n in batteries if _sent(series[n].values[-1]) is not None]
    guesses: list[Guess] = []
    for name, role in roles.items():
        parts = parts_of(_quoted(name))
        means, is_sure = _means(role, parts, series[name].values)
        asks = () if is_sure else (ASK_MEANS,)
        guesses.append(
            _guess(
                source, seen, "sparkplug", series[name], role, value=name, names=parts,
                last=str(series[name].values[-1]), true_means=means,
                inner=inners[name] if len(temperatures) > 1 else "",
                battery=batteries[0] if batteries else "",
                battery_kind=_battery_kind(series[batteries[0]].values[-1]) if batteries else "",
                asks=asks if birth else (*asks, _ASK_BIRTH),
            )
        )  # fmt: skip
    if not guesses and birth is None and not set(kinds) <= {Kind.NDEATH, Kind.DDEATH}:
        last = "values by number, whose names only a birth tells"
        likeness = f"a running Sparkplug node whose birth was not heard: {ASK_FOR_BIRTHS}"
        guesses.append(
            Guess(topic=source, messages=seen.messages, format="sparkplug", last=last,
                  likeness=likeness)
        )  # fmt: skip
    return guesses


def _is_battery(parts: tuple[str, ...]) -> bool:
    """Whether a name's last part says so; a name may be a slash alone, and have none."""
    return bool(parts) and role_of(parts[-1]) is Role.BATTERY


def _quoted(name: str) -> str:
    return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _guess(
    topic: str,
    seen: _Topic,
    form: str,
    series: _Series,
    role: Role | None,
    *,
    last: str,
    names: Sequence[str],
    scale: Scale | None = None,
    value: str = "",
    time: str = "",
    battery: str = "",
    battery_kind: str = "",
    unit_field: str = "",
    match: tuple[str, str | float] | None = None,
    inner: str = "",
    true_means: str = "",
    clock: tuple[str, int] | None = None,
    asks: tuple[str, ...] = (),
) -> Guess:
    numbers = [number for v in series.values if (number := _sent(v)) is not None]
    finite = [v for v in numbers if math.isfinite(v)]
    measures = _MEASURES.get(role, "") if role is not None else ""
    likeness, kind, is_told = _NOT_MEASURED.get(role, "") if role is not None else "", "", True
    questions = list(asks)
    if measures in TEMPERATURES:
        told = scale or _scale_sent(series.values) or _scale_by_name(names)
        is_told = told is not None
        scale = told or _scale_by_range(finite)
        if not is_told and scale is not Scale.CELSIUS:
            shown = "K" if scale is Scale.KELVIN else f"°{scale}"
            questions.append(_ASK_RANGE.format(shown))
        if finite and not _can_be(median(finite), scale):
            measures, likeness = "", "no shop's temperature in °C, °F or K; tenths of a degree?"
    if measures in TEMPERATURES and _ASK_ROW not in asks and _is_wide(finite):
        questions.append(_ASK_TWO.format(max(finite) - min(finite)))
    levels = [*topic.split("/"), *names]
    if measures in TEMPERATURES and (places := [n for n in levels if names_elsewhere(n)]):
        questions.append(_ASK_PLACE.format(_plain(places[0])))
    if measures in TEMPERATURES and not is_told and scale is Scale.CELSIUS and finite:
        questions += _about_fahrenheit(median(finite), levels)
    if measures:
        likeness, kind = _likeness(measures, str(scale or "C"), finite)
    return Guess(
        topic=topic,
        messages=seen.messages,
        format=form,
        measures=measures,
        value=value,
        time=time,
        battery=battery,
        battery_kind=battery_kind if battery else "",
        unit_field=unit_field if measures in TEMPERATURES else "",
        match=match,
        inner=inner,
        scale=str(scale or "C"),
        is_scale_told=is_told,
        true_means=true_means,
        clock=clock,
        asks=tuple(questions),
        interval_s=None if seen.retained and seen.messages < 3 else _interval_s(series.arrived_ms),
        low=min(finite, default=None),
        high=max(finite, default=None),
        last=last,
        likeness=likeness,
        kind=kind,
        retained=seen.retained,
        is_at_qos_0=seen.qos == 0 and form != "sparkplug",
    )


def _about_fahrenheit(middle: float, names: Iterable[str]) -> list[str]:
    """Return the question whether a number that was taken for °C is a freezer's in °F.

    A freezer at 0 °F is as common as one at −18 °C, and would pass for a case at 0 °C.
    """
    celsius = celsius_of_fahrenheit(middle)
    if not FREEZER_BELOW_C < middle <= 10.0:
        return []
    if any(names_a_freezer(name) for name in names):
        return [_ASK_FAHRENHEIT.format(middle, "warm for", middle, celsius)]
    if middle <= COLD_FOR_A_CASE_C:
        return [_ASK_FAHRENHEIT.format(middle, "cold for a case and warm for", middle, celsius)]
    return []


def celsius_sent(number: float, scale: str) -> float:
    """Return a number in °C that was sent in a scale; a resistance as it is."""
    if scale == "F":
        return celsius_of_fahrenheit(number)
    return celsius_of_kelvin(number) if scale == "K" else number


def _can_be(middle: float, scale: Scale) -> bool:
    """Return whether a number as sent can be a temperature in a shop; a Pt100's ohms may stay."""
    if scale is Scale.KELVIN:
        return True
    return COLDEST_SENT <= middle <= 2 * WARMEST_SENT


def _scale_sent(values: Iterable[object]) -> Scale | None:
    """Return the scale that stands behind the numbers themselves."""
    for value in values:
        if isinstance(value, str):
            try:
                return measured_in(value, Measures.AIR).scale
            except Undecodable:
                return None
    return None


def _scale_by_name(names: Sequence[str]) -> Scale | None:
    """Return the scale that a name tells, the nearest first."""
    return next((found for name in reversed(names) if (found := scale_of_name(name))), None)


def _scale_by_range(values: Sequence[float]) -> Scale:
    """Return the scale a temperature seems to be in by its range.

    Nothing kept cold is at 30 to 60 °C, and nothing at 200 to 330 but in kelvin.
    """
    if not values:
        return Scale.CELSIUS
    middle = median(values)
    if 200.0 <= middle <= 330.0:
        return Scale.KELVIN
    return Scale.FAHRENHEIT if 30.0 <= middle <= 60.0 else Scale.CELSIUS


def _likeness(measures: str, scale: str, values: list[float]) -> tuple[str, str]:
    if measures == "door":
        return "a door contact", ""
    if measures == "water":
        return "a water contact", ""
    if measures == "humidity":
        return "humidity", ""
    if measures not in TEMPERATURES or not values:
        return "", ""
    celsius = celsius_sent(median(values), scale)
    if celsius <= -45.0:
        return "an ultra-low freezer", "ultra-low-freezer"
    if celsius <= FREEZER_BELOW_C:
        return "a freezer", "freezer"
    if celsius <= 10.0:
        return "a display case or walk-in", "display-case"
    return "a temperature, not cold", ""


def _interval_s(arrived_ms: deque[int]) -> float | None:
    times = list(arrived_ms)
    steps = [b - a for a, b in pairwise(times) if b > a]
    return median(steps) / MS_PER_S if steps else None


def _text(payload: bytes) -> str:
    try:
        return text_of(payload[:100]).strip()
    except UnicodeDecodeError:
        return ""


def _twin(payload: bytes, names: Iterable[str]) -> str:
    """Return what is wrong where one of these keys stands twice in one object of a message."""
    try:
        refuse_twins(payload, set(names))
    except Undecodable as err:
        return str(err)
    return ""


def _document(payload: bytes) -> object:
    try:
        return document_of(payload)
    except Undecodable:
        return None


def _sent(value: object) -> float | None:
    """Return the number that was sent, as a number or as text; None: it is none."""
    if isinstance(value, str):
        for measures in (Measures.AIR, Measures.HUMIDITY):
            try:
                return measured_in(value, measures).value
            except Undecodable:
                continue
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _leaves(document: object, path: str = "", depth: int = 0) -> Iterator[tuple[str, object]]:
    """Yield path and value of each plain value, as JMESPath names it; so many, so deep."""
    if depth > DEEPEST:
        return
    if isinstance(document, Mapping):
        for key, value in list(document.items())[:MOST_LEAVES]:
            if not isinstance(key, str):
                continue  # CBOR; no path finds it
            plain = key.replace("_", "a").isalnum() and key.isascii() and not key[:1].isdigit()
            name = key if plain else '"' + key.replace("\\", "\\\\").replace('"', '\\"') + '"'
            yield from _leaves(value, f"{path}.{name}" if path else name, depth + 1)
    elif isinstance(document, list):
        for index, value in enumerate(document[:LONGEST_LIST]):
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
    return _plain(payload[:60].decode(errors="replace"))


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "·" for c in text)
