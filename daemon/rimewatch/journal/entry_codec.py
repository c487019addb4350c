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
from dataclasses import MISSING, fields
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any, Final

from rimewatch.entries import (
    Acknowledge,
    AnyEntry,
    AttachStatement,
    CalibrationCheck,
    CancelEntry,
    CorrectiveAction,
    CorrectLot,
    EndCooling,
    EndTimeControl,
    InService,
    MoveLot,
    OutOfService,
    ReceiveLot,
    RetryQuarantine,
    Shelve,
    StartCooling,
    StartFreezing,
    StartThawing,
    StartTimeControl,
    Unshelve,
    WithdrawLot,
)
from rimewatch.vocabulary import CoolingFood, Disposition, Option, Origin, Rule, States

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MS: Final = timedelta(milliseconds=1)


class EntryCodecError(ValueError):
    """The dictionary or text is not an entry; the message names the key and the cure."""


def do_of(entry: AnyEntry) -> str:
    """Return the contract's name for what an entry does.

    >>> do_of(InService(at_ms=0, unit="case-1"))
    'in-service'
    """
    return _NAMES[type(entry)]


ENTRY_CLASSES: Final[Mapping[str, type[AnyEntry]]] = MappingProxyType(
    {
        "receive-lot": ReceiveLot,
        "start-freezing": StartFreezing,
        "move-lot": MoveLot,
        "withdraw-lot": WithdrawLot,
        "start-thawing": StartThawing,
        "attach-statement": AttachStatement,
        "correct-lot": CorrectLot,
        "cancel-entry": CancelEntry,
        "acknowledge": Acknowledge,
        "shelve": Shelve,
        "unshelve": Unshelve,
        "out-of-service": OutOfService,
        "in-service": InService,
        "corrective-action": CorrectiveAction,
        "start-cooling": StartCooling,
        "end-cooling": EndCooling,
        "start-time-control": StartTimeControl,
        "end-time-control": EndTimeControl,
        "calibration-check": CalibrationCheck,
        "retry-quarantine": RetryQuarantine,
    }
)
"""The class behind each of the contract's names."""

_NAMES: Final[Mapping[type[AnyEntry], str]] = MappingProxyType(
    {kind: do for do, kind in ENTRY_CLASSES.items()}
)

_INSTANTS: Final[Mapping[str, str]] = MappingProxyType(
    {"entered_ms": "entered", "needed_by_ms": "needed_by"}
)
"""Fields that hold an instant, and the keys under which it is written as a text."""

_NOT_SAID: Final = frozenset({"at_ms", "entry_number"})
"""Fields that are no keys of their own: ``at`` stands for the first, and who keeps the books
gives the second."""

_MAY_BE_NONE: Final = frozenset({"unit"})
"""Keys without a default that None leaves out: an alarm over several units has no unit."""


def format_instant(at_ms: int) -> str:
    """Return an instant as [1] writes it, in UTC, without needless milliseconds.

    Args:
        at_ms: Milliseconds since the epoch.

    >>> format_instant(1_772_438_400_000), format_instant(1_772_438_400_007)
    ('2026-03-02T08:00:00Z', '2026-03-02T08:00:00.007Z')
    """
    at = _EPOCH + at_ms * _MS
    return at.isoformat(timespec="milliseconds" if at_ms % 1000 else "seconds")[:-6] + "Z"


def parse_instant(text: str) -> int:
    """Return the milliseconds since the epoch of an instant written as in [1].

    Raises:
        EntryCodecError: If it is not one, or does not say its offset from UTC.
    """
    try:
        at = datetime.fromisoformat(text)
    except ValueError as error:
        raise EntryCodecError(
            f"at is {text!r}; expected an instant such as 2026-03-02T08:00:00Z"
        ) from error
    if at.tzinfo is None:
        raise EntryCodecError(f"at is {text!r}, without an offset; expected Z at the end")
    return (at.astimezone(UTC) - _EPOCH) // _MS


def entry_to_dict(entry: AnyEntry) -> dict[str, Any]:
    """Return an entry as a dictionary that JSON can hold, by the contract's keys."""
    document: dict[str, Any] = {"at": format_instant(entry.at_ms), "do": do_of(entry)}
    for field in fields(entry):
        if field.name in _NOT_SAID:
            continue
        value = getattr(entry, field.name)
        if value is None or (field.default in {"", ()} and value == field.default):
            continue
        if value is False and field.default is False:
            continue
        if field.name in _INSTANTS:
            document[_INSTANTS[field.name]] = format_instant(value)
            continue
        if isinstance(value, tuple):
            document[field.name] = list(value)
            continue
        is_word = isinstance(value, CoolingFood | Disposition | Option | Origin | Rule | States)
        document[field.name] = value.value if is_word else value
    return document


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
    arguments: dict[str, Any] = {"at_ms": parse_instant(_text("at", document.get("at")))}
    wanted = {
        _INSTANTS.get(field.name, field.name): field
        for field in fields(kind)
        if field.name not in _NOT_SAID
    }
    unknown = sorted(set(document) - {"at", "do"} - set(wanted))
    if unknown:
        names = ", ".join(key for key in wanted if key != "entered")
        raise EntryCodecError(f"{do}: unknown key {unknown[0]!r}; expected at, do, {names}")
    for key, field in wanted.items():
        value = document.get(key)
        if value is not None:
            arguments[field.name] = _READ[key](key, value)
        elif field.default is MISSING:
            if not (field.name in _MAY_BE_NONE and kind in (Acknowledge, Shelve, Unshelve)):
                raise EntryCodecError(f"{do}: {field.name} is missing; expected a value")
            arguments[field.name] = None
    return kind(**arguments)


def _text(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise EntryCodecError(f"{name} is {value!r}; expected text")
    return value


def _number(name: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise EntryCodecError(f"{name} is {value!r}; expected a finite number")
    return float(value)


def _truth(name: str, value: object) -> bool:
    if not isinstance(value, bool):
        raise EntryCodecError(f"{name} is {value!r}; expected true or false")
    return value


def _whole(name: str, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise EntryCodecError(f"{name} is {value!r}; expected a whole number")
    return value


def _instant(name: str, value: object) -> int:
    return parse_instant(_text(name, value))


def _texts(name: str, value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise EntryCodecError(f"{name} is {value!r}; expected a list of texts")
    return tuple(value)


def _one_of(
    words: type[CoolingFood | Disposition | Option | Origin | Rule | States],
) -> Callable[[str, object], object]:
    def read(name: str, value: object) -> object:
        if isinstance(value, str) and value in {word.value for word in words}:
            return words(value)
        known = ", ".join(word.value for word in words)
        raise EntryCodecError(f"{name} is {value!r}; expected one of {known}")

    return read


_READ: Final[Mapping[str, Callable[[str, object], object]]] = MappingProxyType(
    {
        "who": _text,
        "entered": _instant,
        "needed_by": _instant,
        "number": _whole,
        "rop": _truth,
        "reference": _text,
        "states": _one_of(States),
        "file": _text,
        "sha256": _text,
        "lot": _text,
        "species": _text,
        "origin": _one_of(Origin),
        "serve_raw": _truth,
        "thickness_mm": _number,
        "celsius": _number,
        "kilograms": _number,
        "supplier": _text,
        "supplier_reference": _text,
        "statement": _text,
        "unit": _text,
        "option": _one_of(Option),
        "reason": _text,
        "rule": _one_of(Rule),
        "minutes": _number,
        "back_within_min": _number,
        "alarm": _text,
        "text": _text,
        "disposition": _one_of(Disposition),
        "lots": _texts,
        "food": _one_of(CoolingFood),
        "hours": _whole,
        "probe": _text,
        "found_c": _number,
        "offset_c": _number,
    }
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
            f"{do_of(entry)}: cannot be written down ({error}); "
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
    except ValueError as error:
        raise EntryCodecError(f"not JSON: {error}") from error
    if not isinstance(document, dict):
        raise EntryCodecError("not a JSON object; expected keys and values")
    return entry_from_dict(document)
