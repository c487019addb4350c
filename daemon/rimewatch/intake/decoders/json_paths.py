"""Format ``json``: values found by JMESPath expressions, compiled once a probe.

A missing path is an error, never a default. Where a key that a probe looks at
stands twice in one object, nobody can tell which value was meant: refused. A path that
finds a list gives one reading for each value, with the times of a list as long.

A payload with ``NaN`` or ``Infinity`` is no JSON by RFC 8259, yet devices send it
for a sensor that is gone. It is read, so that the value can be named as not finite.
"""

import json
import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

import jmespath
from jmespath.exceptions import JMESPathError

from rimewatch.intake.decoders.cbor_keys import twin_in
from rimewatch.intake.decoders.documents import bare, document_of, is_cbor
from rimewatch.intake.decoders.draft import (
    Absent,
    Decoder,
    Draft,
    TimeOrigin,
    Undecodable,
    UnusableProbe,
    shown,
)
from rimewatch.intake.decoders.times import instant_ms
from rimewatch.intake.decoders.values import Measured, battery_of, reader_of, scale_in
from rimewatch.shop import Probe
from rimewatch.vocabulary import Scale

MOST_VALUES: Final = 2000
"""Readings in one message: a day's at one a minute, and a reserve (our choice)."""

_NOTHING: Final = Measured(math.nan)

_TWINS: Final = 'the key "{}" stands twice in one object; nobody can tell which holds'

Finder = Callable[[object], object]

_SEARCH_ERRORS: Final = (
    JMESPathError,
    ArithmeticError,
    AttributeError,
    LookupError,
    RecursionError,
    TypeError,
    ValueError,
)
"""What an expression's functions may raise on a document of the wrong shape."""


def json_decoder(probe: Probe) -> Decoder:
    """Return the decoder of a probe that sends JSON.

    ``fields.value`` is needed; ``fields.time`` and ``fields.battery`` are not.

    Raises:
        UnusableProbe: If ``fields.value`` is missing or a path is not a JMESPath expression.
    """
    if not probe.fields.get("value"):
        msg = 'fields.value is missing; format "json" needs it, such as fields = { value = "t" }'
        raise UnusableProbe(probe.id, msg)
    names: set[str] = set()
    finders = {
        field: _finder(probe, field, path, names)
        for field, path in probe.fields.items()
        if field in ("value", "time", "battery", "unit") and path
    }
    find_value = finders["value"]
    find_time = finders.get("time")
    find_battery = finders.get("battery")
    find_unit = finders.get("unit")
    zone = ZoneInfo(probe.time_zone) if probe.time_zone else None
    mark = probe.match
    find_mark = _finder(probe, "match", mark.field, names) if mark and mark.field else None
    where = f"the path {probe.fields['value']}"
    value_keys = _plain_keys(jmespath.compile(probe.fields["value"]).parsed)
    read = reader_of(probe)
    quoted = tuple(json.dumps(name, ensure_ascii=False).encode() for name in sorted(names))

    def decode(payload: bytes, _arrived_ms: int) -> Sequence[Draft]:
        document = document_of(payload)
        # A key written with escapes would not be counted, so any escape takes the slow way.
        if is_cbor(payload) or b"\\" in payload or any(payload.count(name) > 1 for name in quoted):
            refuse_twins(payload, names)
        if find_mark is not None and not _is_marked(find_mark, document, probe):
            return ()
        found = _found_value(find_value, document, value_keys, where)
        battery = None if find_battery is None else _battery(find_battery, document)
        scale = None if find_unit is None else _scale(find_unit, document, probe)
        times = None if find_time is None else _found_time(find_time, document)
        if type(found) is list and found:
            # Nothing in a value's place is told apart by not being finite.
            return [
                _dated(
                    _NOTHING if value is None else read(value, where), time, battery, zone, scale
                )
                for value, time in _paired(found, times, where)
            ]
        measured = read(found, where)
        if find_time is None:
            own = measured.scale or scale
            return (Draft(measured.value, None, battery, TimeOrigin.ABSENT, own),)
        return (_dated(measured, times, battery, zone, scale),)

    return decode


def refuse_twins(payload: bytes, names: set[str]) -> Any:  # noqa: ANN401 - JSON may be anything
    """Return the document; refuse it if one object holds one of ``names`` twice.

    Raises:
        Undecodable: If it does, or if the document cannot be read.
    """

    def build(pairs: list[tuple[str, object]]) -> dict[str, object]:
        found = dict(pairs)
        if len(found) < len(pairs):
            seen: set[str] = set()
            for key, _ in pairs:
                if key in seen and key in names:
                    raise Undecodable(_TWINS.format(key), whole=True)
                seen.add(key)
        return found

    if is_cbor(payload):
        twin = twin_in(payload, names)
        if twin is not None:
            raise Undecodable(_TWINS.format(twin), whole=True)
        return None  # read already
    try:
        return json.loads(bare(payload).decode(), object_pairs_hook=build)
    except (ValueError, RecursionError) as err:
        raise Undecodable(f"the payload is not JSON: {str(err)[:120]}", whole=True) from None


def _battery(find: Finder, document: object) -> float | None:
    try:
        return battery_of(find(document))
    except Undecodable:
        return None  # a strange battery never costs a temperature


def _found_time(find: Finder, document: object) -> object:
    try:
        return find(document)
    except Undecodable:
        return None  # the reading gets the time of its arrival, and is counted


def _scale(find: Finder, document: object, probe: Probe) -> Scale | None:
    """Return the scale that a message names; None if it names none.

    Raises:
        Undecodable: If it names something that is no scale: nobody knows what the value is then.
    """
    said = find(document)
    if said is None or not probe.measures.is_temperature:
        return None
    scale = scale_in(said)
    if scale is None:
        msg = f"the unit at {probe.fields['unit']} is {shown(said)}; expected C, F or K"
        raise Undecodable(msg)
    return scale


def _dated(
    measured: Measured,
    time: object,
    battery: float | None,
    zone: ZoneInfo | None,
    scale: Scale | None,
) -> Draft:
    observed_ms = instant_ms(time, zone)
    origin = TimeOrigin.UNREADABLE if observed_ms is None else TimeOrigin.OWN
    return Draft(measured.value, observed_ms, battery, origin, measured.scale or scale)


def _is_marked(find: Finder, document: object, probe: Probe) -> bool:
    """Return whether a payload bears the probe's mark: the same value of the same kind."""
    assert probe.match is not None, "only marked probes are asked"
    try:
        found = find(document)
    except Undecodable:
        return False
    equals = probe.match.equals
    if isinstance(equals, str | bool) or isinstance(found, bool):
        return type(found) is type(equals) and found == equals
    return isinstance(found, int | float) and found == equals


def _paired(values: list[object], times: object, where: str) -> list[tuple[object, object]]:
    """Return the values of a list, each with its own time.

    Raises:
        Undecodable: If they cannot be paired: nobody can tell when which was taken.
    """
    if len(values) > MOST_VALUES:
        raise Undecodable(f"{where} is {shown(values)}; expected at most {MOST_VALUES} values")
    if not isinstance(times, list):
        what = f"{where} is {shown(values)}; expected a number, or a list of times with it"
        raise Undecodable(what)
    if len(times) != len(values):
        what = f"{where} is {shown(values)} and fields.time {shown(times)}; expected as many times"
        raise Undecodable(what)
    return list(zip(values, times, strict=True))


def _finder(probe: Probe, field: str, path: str, names: set[str]) -> Finder:
    try:
        compiled = jmespath.compile(path)
    except JMESPathError:
        msg = (
            f'fields.{field} is "{path}"; expected a JMESPath expression, such as "t" or '
            f'"sensors[0].t" (a key with signs in it stands in quotes: \'"probe-1".t\')'
        )
        raise UnusableProbe(probe.id, msg) from None
    names.update(_names(compiled.parsed))
    keys = _plain_keys(compiled.parsed)
    if keys is None:
        return _searcher(compiled.search, path)
    if len(keys) == 1:
        return _getter(keys[0])
    return _chain(keys)


def _searcher(search: Finder, path: str) -> Finder:
    def find(document: object) -> object:
        try:
            return search(document)
        except _SEARCH_ERRORS as err:
            msg = f"the path {path} does not fit the payload: {str(err)[:120]}"
            raise Undecodable(msg) from None

    return find


def _getter(key: str) -> Finder:
    def find(document: object) -> object:
        return document.get(key) if isinstance(document, dict) else None

    return find


def _chain(keys: Sequence[str]) -> Finder:
    def find(document: object) -> object:
        for key in keys:
            if not isinstance(document, dict):
                return None
            document = document.get(key)
        return document

    return find


def _found_value(find: Finder, document: object, keys: Sequence[str] | None, where: str) -> object:
    """Return what stands in the value's place.

    ``null`` under a plain path's own key is something: a sensor that is not there. Behind a
    richer path nobody can tell the two apart.

    Raises:
        Absent: If there is nothing in the document for the path to find.
    """
    found = find(document)
    if found is None or found == []:
        is_lacking = keys is None
        for key in keys or ():
            if not isinstance(document, dict) or key not in document:
                is_lacking = True
                break
            document = document[key]
        if is_lacking:
            raise Absent(f"there is nothing at {where}; expected a number")
    return found


def _plain_keys(node: dict[str, Any]) -> tuple[str, ...] | None:
    """Return the keys of a path like ``a.b.c``; None for anything richer.

    Plain paths are most of all paths, and six times as fast without the interpreter.
    """
    if node["type"] == "field":
        return (node["value"],)
    if node["type"] == "subexpression":
        parts = [_plain_keys(child) for child in node["children"]]
        if all(parts):
            return tuple(key for part in parts if part for key in part)
    return None


def _names(node: dict[str, Any]) -> Iterator[str]:
    """Yield every key that an expression looks at."""
    if node["type"] == "field":
        yield node["value"]
    for child in node["children"]:
        if isinstance(child, dict):
            yield from _names(child)
