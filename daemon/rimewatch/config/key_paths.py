"""Keys of a configuration by their paths, such as ``unit.case-1.limit_c``. Pure.

One of several tables is named by its id, or by its number, counted from 1, where it has none.
"""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from typing import Any

from rimewatch.config.editing import NAMED_BY
from rimewatch.config.problems import nearest
from rimewatch.config.secrets import Tables, plain


class NoSuchKey(ValueError):  # noqa: N818 (it says what is so)
    """A path that leads nowhere; the text says how far it was right, and what there is."""


def value_of(text: str) -> Any:  # noqa: ANN401 (a key holds anything)
    """Return a value as somebody types it: as in the file, or a text without its quotes.

    >>> value_of("4.4"), value_of("Walk-in cooler"), value_of('["02:00/30m"]')
    (4.4, 'Walk-in cooler', ['02:00/30m'])
    """
    try:
        read = tomllib.loads(f"value = {text}")
    except ValueError:
        return text
    return plain(read["value"]) if read.keys() == {"value"} else text


def listed(tables: Tables) -> Iterator[tuple[str, Any]]:
    """Yield every key that is given, by its path, with its value; in the order of the file."""
    for name, held in tables.items():
        for path, table in _each(name, held):
            for key, value in table.items():
                yield f"{path}.{key}", value


def changed(tables: Tables, path: str, value: Any) -> dict[str, Any]:  # noqa: ANN401
    """Return tables with another value of a key; None takes it out, so that its default holds.

    A path to one of several tables with None takes the whole table out.

    Raises:
        NoSuchKey: If the path leads nowhere. Whether there is such a key, a check says.
    """
    found = deepcopy(dict(tables))
    name, _, rest = path.partition(".")
    held = found.get(name)
    if not rest:
        raise NoSuchKey(f'"{path}" is no key; expected a path such as unit.case-1.limit_c')
    if isinstance(held, Sequence):
        _change_one(found, name, rest, value)
        return found
    if held is None:
        if value is None:
            raise NoSuchKey(f"there is no [{name}] in the file, so there is nothing to take out")
        held = found[name] = {}
    _put(held, rest, value, path)
    return found


def _change_one(found: dict[str, Any], name: str, rest: str, value: Any) -> None:  # noqa: ANN401
    """Change a key of one of several tables, or take the table out."""
    each = list(_each(name, found[name]))
    inside = [(path, table) for path, table in each if f"{name}.{rest}".startswith(f"{path}.")]
    whole = next((table for path, table in each if path == f"{name}.{rest}"), None)
    if whole is not None and value is None:
        found[name] = [table for table in found[name] if table is not whole]
        return
    if not inside:
        names = [path.removeprefix(f"{name}.") for path, _ in each]
        meant = nearest(rest.partition(".")[0], names)
        hint = f"did you mean {meant}?" if meant else f"there are {', '.join(names) or 'none'}"
        raise NoSuchKey(f'there is no [[{name}]] for "{rest}"; {hint}')
    path, table = max(inside, key=lambda one: len(one[0]))  # an id may hold a dot
    _put(table, f"{name}.{rest}".removeprefix(f"{path}."), value, path)


def _put(table: dict[str, Any], key: str, value: Any, path: str) -> None:  # noqa: ANN401
    first, _, rest = key.partition(".")
    if rest:
        inner = table.setdefault(first, {})
        if not isinstance(inner, dict):
            raise NoSuchKey(f"{path}: {first} holds one value, and no keys")
        _put(inner, rest, value, path)
    elif value is not None:
        table[first] = value
    elif first in table:
        del table[first]
    else:
        raise NoSuchKey(f"{path}: {first} is not in the file, so there is nothing to take out")


def _each(name: str, held: object) -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(held, Mapping):
        yield name, dict(held) if not isinstance(held, dict) else held
    elif isinstance(held, Sequence) and not isinstance(held, str):
        key = NAMED_BY.get(name)
        ids = [table.get(key) if key else None for table in held]
        for number, (table, own) in enumerate(zip(held, ids, strict=True), start=1):
            is_apart = own is not None and ids.count(own) == 1
            yield f"{name}.{own if is_apart else number}", table
