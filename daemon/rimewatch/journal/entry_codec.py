"""Turns operators' entries into plain dictionaries and back.

The keys are those of a trace: ``at``, ``do``, and each entry's own; what is None or
empty and may be left out is left out. Pure: no I/O, no clock. It checks what it reads
well enough to refuse a damaged row; an edge that takes entries from people checks more.

References:
    [1] RFC 3339, Date and Time on the Internet: Timestamps, section 5.6.
    [2] RFC 8259, The JSON Data Interchange Format.
"""

import json
import math
from collections.abc import Callable, Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final

from rimewatch.entries import ENTRY_CLASSES, AnyEntry
from rimewatch.entry_keys import Key, keys_of
from rimewatch.instants import iso, iso_ms


class EntryCodecError(ValueError):
    """The dictionary or text is not an entry; the message names the key and the cure."""


def entry_to_dict(entry: AnyEntry) -> dict[str, Any]:
    """Return an entry as a dictionary that JSON can hold, by the contract's keys."""
    document: dict[str, Any] = {"at": iso(entry.at_ms), "do": entry.do}
    for key in keys_of(type(entry)):
        value = getattr(entry, key.field)
        if value is None or (key.default in _UNSAID and value == key.default):
            continue
        if key.is_instant:
            value = iso(value)
        elif key.is_document:
            value = json.loads(value)
        elif key.many is not None:
            value = list(value)
        elif key.words is not None:
            value = value.value
        document[key.name] = value
    return document


_UNSAID: Final = ("", (), False)
"""Defaults that go without saying: they are left out."""


def entry_from_dict(document: Mapping[str, Any]) -> AnyEntry:
    """Return the entry that a dictionary stands for.

    Args:
        document: Keys by the contract; none may be unknown.

    Raises:
        EntryCodecError: If a key is missing, unknown, or of the wrong kind.
    """
    do = document.get("do")
    kind = ENTRY_CLASSES.get(do) if isinstance(do, str) else None
    if kind is None:
        known = ", ".join(ENTRY_CLASSES)
        raise EntryCodecError(f"do is {do!r}; expected one of {known}")
    arguments: dict[str, Any] = {"at_ms": _instant("at", document.get("at"))}
    keys = keys_of(kind)
    unknown = sorted(set(document) - {"at", "do", *(key.name for key in keys)})
    if unknown:
        names = ", ".join(key.name for key in keys if key.name != "entered")
        raise EntryCodecError(f"{do}: unknown key {unknown[0]!r}; expected at, do, {names}")
    for key in keys:
        value = document.get(key.name)
        if value is not None:
            arguments[key.field] = _read(key, value)
        elif key.is_required:
            if not key.may_be_none:
                raise EntryCodecError(f"{do}: {key.field} is missing; expected a value")
            arguments[key.field] = None
    return kind(**arguments)


def _read(key: Key, value: object) -> object:
    if key.many is not None:
        return _texts(key.name, value)
    if key.is_instant:
        return _instant(key.name, value)
    if key.is_document:
        return _object(key.name, value)
    if key.words is not None:
        return _one_of(key.words, key.name, value)
    return _PLAIN[key.kind](key.name, value)


def _text(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise EntryCodecError(f"{name} is {value!r}; expected text")
    return value


def _object(name: str, value: object) -> str:
    if not isinstance(value, dict):
        raise EntryCodecError(f"{name} is {value!r}; expected keys and values")
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def _instant(name: str, value: object) -> int:
    at_ms = iso_ms(_text(name, value))
    if at_ms is None:
        raise EntryCodecError(
            f"{name} is {value!r}; expected an instant with its offset, such as "
            "2026-03-02T08:00:00Z"
        )
    return at_ms


def _number(name: str, value: object) -> float:
    try:
        if not isinstance(value, bool) and isinstance(value, int | float) and math.isfinite(value):
            return float(value)
    except OverflowError:  # an integer beyond any float
        value = "an endless number"
    raise EntryCodecError(f"{name} is {value!r}; expected a finite number")


def _truth(name: str, value: object) -> bool:
    if not isinstance(value, bool):
        raise EntryCodecError(f"{name} is {value!r}; expected true or false")
    return value


def _whole(name: str, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise EntryCodecError(f"{name} is {value!r}; expected a whole number")
    return value


def _texts(name: str, value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise EntryCodecError(f"{name} is {value!r}; expected a list of texts")
    return tuple(value)


def _one_of(words: type[StrEnum], name: str, value: object) -> StrEnum:
    if isinstance(value, str) and value in {word.value for word in words}:
        return words(value)
    known = ", ".join(word.value for word in words)
    raise EntryCodecError(f"{name} is {value!r}; expected one of {known}")


_PLAIN: Final[Mapping[type, Callable[[str, object], object]]] = MappingProxyType(
    {str: _text, bool: _truth, int: _whole, float: _number}
)


def entry_to_json(entry: AnyEntry) -> str:
    """Return an entry as canonical JSON: sorted keys, no spaces, one form for one entry.

    Raises:
        EntryCodecError: If a number is not finite or a text is not Unicode: neither is JSON.
    """
    try:
        text = json.dumps(
            entry_to_dict(entry),
            sort_keys=True,
            separators=(",", ":"),
            ensure_ascii=False,
            allow_nan=False,
        )
        text.encode()
    except ValueError as error:  # UnicodeEncodeError is one
        raise EntryCodecError(
            f"{entry.do}: cannot be written down ({error}); "
            "expected finite numbers and readable text"
        ) from error
    return text


def entry_from_json(text: str) -> AnyEntry:
    """Return the entry that :func:`entry_to_json` wrote.

    Raises:
        EntryCodecError: If it is not JSON ([2]) or not an entry.
    """
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise EntryCodecError(f"not JSON: {error}") from error
    if not isinstance(document, dict):
        raise EntryCodecError("not a JSON object; expected keys and values")
    return entry_from_dict(document)
