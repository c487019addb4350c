"""A change of some settings, written into the file's text: comments, order and the rest stay.

Pure: text in, text out. What cannot be written so that it reads back as it was meant is
refused: the text as it stands is never guessed at.

References:
    [1] TOML 1.0.0, "Array of Tables" and "Inline Table".
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import TOMLKitError

from rimewatch.config.changing import Tables, tables_of

NAMED_BY: Final = {"unit": "id", "probe": "id", "contact": "id", "species": "common"}
"""Tables there may be several of, and the key that tells them apart; others go by place."""

_HEADER: Final = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_-]+)\s*((?:\.[^\]#]+)?)\]\]?\s*(?:#.*)?$")
_ABSENT: Final = object()


class NotEditable(ValueError):  # noqa: N818 (it says what the text is)
    """The text is written in a way that a change cannot be put into it; nothing is lost."""


@dataclass(frozen=True, slots=True)
class Clash:
    """A key that two people changed to different values."""

    path: tuple[str, ...]
    """Such as ``("unit", "case-1", "limit_c")``."""
    theirs: object
    """None: they took it away."""
    ours: object
    """None: we did."""


@dataclass(frozen=True, slots=True)
class Merged:
    """Two changes of one configuration, put together."""

    tables: dict[str, Any]
    """With our value wherever the two clash."""
    clashes: tuple[Clash, ...]


def merged(base: Tables, theirs: Tables, ours: Tables) -> Merged:
    """Return a configuration with the changes of two people, key by key.

    Args:
        base: What both began with.
        theirs: What one of them made of it.
        ours: What the other did.

    >>> merged({"a": {"x": 1, "y": 1}}, {"a": {"x": 2, "y": 1}}, {"a": {"x": 1, "y": 3}}).tables
    {'a': {'x': 2, 'y': 3}}
    """
    clashes: list[Clash] = []
    tables = _merged((), base, theirs, ours, clashes)
    assert isinstance(tables, dict), "three tables make a table"
    return Merged(tables, tuple(clashes))


def edited(text: str, after: Tables) -> str:
    """Return a file's text with other values; what is the same stays as it is written.

    Args:
        text: TOML, as it stands.
        after: What it should say.

    Raises:
        ValueError: If the text is no TOML, or (``NotEditable``) no way is known to put the
            change into it.
    """
    before = tables_of(text)
    if before == after:
        return text
    try:
        document = tomlkit.parse(text)
        missing: list[_Missing] = []
        _change(document, before, after, (), missing)
        changed = tomlkit.dumps(document)
    except (TOMLKitError, KeyError, IndexError, TypeError) as error:
        raise NotEditable(_refusal()) from error
    lines = _lines(changed)
    for each in missing:
        lines = each.put_into(lines)
    found = "".join(lines)
    try:
        is_right = tables_of(found) == after
    except ValueError:
        is_right = False
    if not is_right:
        raise NotEditable(_refusal())
    return found


def by_name(table: str, items: Sequence[Mapping[str, Any]]) -> dict[str, Mapping[str, Any]] | None:
    """Return the tables of one kind by what names them; None: nothing does, or not all apart."""
    key = NAMED_BY.get(table)
    if key is None or not all(isinstance(item, dict) for item in items):
        return None
    found = {str(item.get(key)): item for item in items}
    return found if len(found) == len(items) else None


# --- putting changes into the text ----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Missing:
    """Something that the text has no place for yet, or has too much."""

    table: str
    number: int | None
    """Which of several, counted from 0; None: there is one table, or one more is to come."""
    keys: Mapping[str, Any] | None
    """Keys to be written; None: the table goes."""
    is_many: bool

    def put_into(self, lines: list[str]) -> list[str]:
        spans = list(_spans(lines, self.table))
        if self.keys is None:
            return _without(lines, spans, self.number)
        if self.is_many and self.number is None:
            return _with_table(lines, spans, f"[[{self.table}]]", self.keys)
        if not self.is_many and not spans:
            return _with_table(lines, spans, f"[{self.table}]", self.keys)
        begins, ends = spans[self.number or 0]
        at = _after_content(lines, begins, _own_end(lines, begins, ends))
        return [*lines[:at], *_written(self.keys), *lines[at:]]


def _change(
    document: Any,  # noqa: ANN401 (what the library calls its containers)
    before: Tables,
    after: Tables,
    path: tuple[str | int, ...],
    missing: list[_Missing],
) -> None:
    """Change what the text has a place for; note the rest, in the order to be done."""
    for key in [key for key in before if key not in after]:
        if path:
            del document[key]
        else:
            missing += _gone(key, before[key])
    new: dict[str, Any] = {}
    for key, value in after.items():
        held = before.get(key, _ABSENT)
        if held is _ABSENT:
            new[key] = value
        elif held == value and type(held) is type(value):
            continue
        elif isinstance(held, dict) and isinstance(value, dict):
            _change(document[key], held, value, (*path, key), missing)
        elif not path and _are_tables(held) and _are_tables(value):
            _change_many(document[key], key, held, value, missing)
        else:
            document[key] = value
    if new and path:
        _add_keys(document, new, path, missing)
    else:
        missing += [each for key, value in new.items() for each in _come(key, value)]


def _gone(table: str, value: object) -> list[_Missing]:
    if isinstance(value, list):
        return [_Missing(table, n, None, is_many=True) for n in reversed(range(len(value)))]
    return [_Missing(table, None, None, is_many=False)]


def _come(table: str, value: Any) -> list[_Missing]:  # noqa: ANN401 (one table or several)
    if isinstance(value, list):
        return [_Missing(table, None, item, is_many=True) for item in value]
    return [_Missing(table, None, value, is_many=False)]


def _add_keys(
    document: Any,  # noqa: ANN401 (as above)
    new: dict[str, Any],
    path: tuple[str | int, ...],
    missing: list[_Missing],
) -> None:
    if len(path) > 1 and not isinstance(path[-1], int):  # a table within a table
        for key, value in new.items():
            document[key] = value
        return
    number = path[1] if len(path) > 1 else None
    assert number is None or isinstance(number, int), "a table's place is a number"
    missing.insert(0, _Missing(str(path[0]), number, new, is_many=number is not None))


def _change_many(
    document: Any,  # noqa: ANN401 (as above)
    table: str,
    before: Sequence[dict[str, Any]],
    after: Sequence[dict[str, Any]],
    missing: list[_Missing],
) -> None:
    names, wanted = by_name(table, before), by_name(table, after)
    if names is None or wanted is None:
        pairs = list(zip(before, after, strict=False))
        for number, (held, value) in enumerate(pairs):
            _change(document[number], held, value, (table, number), missing)
        gone = list(range(len(after), len(before)))
        added = list(after[len(before) :])
    else:
        for number, (name, one) in enumerate(names.items()):
            if name in wanted:
                _change(document[number], dict(one), wanted[name], (table, number), missing)
        gone = [number for number, name in enumerate(names) if name not in wanted]
        added = [dict(value) for name, value in wanted.items() if name not in names]
    missing += [_Missing(table, number, None, is_many=True) for number in reversed(gone)]
    missing += [_Missing(table, None, item, is_many=True) for item in added]


def _are_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)


def _spans(lines: Sequence[str], table: str) -> Iterator[tuple[int, int]]:
    """Yield first line and end of each table of a name, with the tables within it."""
    headers = [(n, match) for n, line in enumerate(lines) if (match := _HEADER.match(line))]
    begins: int | None = None
    for number, match in headers:
        is_inner = bool(match[3].strip())
        if match[2] == table and is_inner and begins is not None:
            continue
        if begins is not None:
            yield begins, number
            begins = None
        if match[2] == table and not is_inner:
            begins = number
    if begins is not None:
        yield begins, len(lines)


def _own_end(lines: Sequence[str], begins: int, ends: int) -> int:
    """Return where a table's own keys end: at the first table within it."""
    inner = (n for n in range(begins + 1, ends) if _HEADER.match(lines[n]))
    return next(inner, ends)


def _after_content(lines: Sequence[str], begins: int, ends: int) -> int:
    """Return the line after a table's last key, and after the comments that hang on it."""
    at = ends
    while at > begins + 1 and (not lines[at - 1].strip() or lines[at - 1].lstrip()[:1] == "#"):
        at -= 1
    return at


def _without(lines: list[str], spans: Sequence[tuple[int, int]], number: int | None) -> list[str]:
    if not spans or (number or 0) >= len(spans):
        raise NotEditable(_refusal())
    begins, ends = spans[number or 0]
    at = _after_content(lines, begins, ends)
    if at < len(lines) and not lines[at].strip() and begins and not lines[begins - 1].strip():
        at += 1  # of the blank lines before and after it, one is enough
    return [*lines[:begins], *lines[at:]]


def _with_table(
    lines: list[str], spans: Sequence[tuple[int, int]], header: str, keys: Mapping[str, Any]
) -> list[str]:
    at = len(lines)
    if spans:
        begins, ends = spans[-1]
        at = _after_content(lines, begins, ends)
        while at < ends and lines[at].lstrip()[:1] == "#":
            at += 1
    before = ["\n"] if at and lines[at - 1].strip() else []
    after = ["\n"] if at < len(lines) and lines[at].strip() else []
    return [*lines[:at], *before, f"{header}\n", *_written(keys), *after, *lines[at:]]


def _written(keys: Mapping[str, Any]) -> list[str]:
    """Return keys as lines; a table within is written on its line [1]."""
    container = tomlkit.document()
    for key, value in keys.items():
        item = value
        if isinstance(value, dict):
            item = tomlkit.inline_table()
            item.update(value)
        container[key] = item
    return [line for line in _lines(tomlkit.dumps(container)) if line.strip()]


def _lines(text: str) -> list[str]:
    """Return a text's lines, each with its end; only TOML's own newline ends one [1]."""
    return [f"{line}\n" for line in text.removesuffix("\n").split("\n")] if text else []


def _refusal() -> str:
    return "the file is written in a way that this cannot be put into; change it in the file"


# --- two changes of one configuration -------------------------------------------------------


def _merged(
    path: tuple[str, ...], base: object, theirs: object, ours: object, clashes: list[Clash]
) -> object:
    if theirs in (ours, base):
        return ours
    if ours == base:
        return theirs
    both = [_as_table(path, value) for value in (base, theirs, ours)]
    if both[1] is None or both[2] is None:
        clashes.append(Clash(path, *(None if v is _ABSENT else v for v in (theirs, ours))))
        return ours
    held, theirs_in, ours_in = both[0] or {}, both[1], both[2]
    found = {
        key: value
        for key in [*theirs_in, *(key for key in ours_in if key not in theirs_in)]
        if (
            value := _merged(
                (*path, key),
                held.get(key, _ABSENT),
                theirs_in.get(key, _ABSENT),
                ours_in.get(key, _ABSENT),
                clashes,
            )
        )
        is not _ABSENT
    }
    return list(found.values()) if isinstance(ours, list) else found


def _as_table(path: tuple[str, ...], value: object) -> Mapping[str, Any] | None:
    """Return a value as something whose parts can be told apart by name; None: it is no such."""
    if isinstance(value, dict):
        return value
    if isinstance(value, list) and len(path) == 1:
        return by_name(path[0], value)
    return None
