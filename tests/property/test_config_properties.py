"""Properties of the configuration: whatever is left out still loads, whatever is wrong is said."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from rimewatch.config import ConfigError, Problem, load_shop, warnings_of
from rimewatch.config.tables import DEFAULT_LIMIT_C

EXAMPLE = (Path(__file__).parents[2] / "config" / "saltmarsh-row.toml").read_text(encoding="utf-8")
ARRAYS = ("species", "unit", "probe", "contact", "escalation")
NEEDED = {
    "shop": {"name", "timezone"},
    "broker": set[str](),
    "unit": {"id", "name", "kind"},
    "probe": {"id", "unit", "measures", "topic"},
    "contact": {"id", "name", "urls"},
    "night": {"from", "to"},
    "escalation": {"after_s", "contacts"},
    "records": set[str](),
    "species": {"common", "scientific", "group", "forms_scombrotoxin"},
}


def toml(value: object) -> str:
    """Write a value as TOML."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
        case list():
            return "[" + ", ".join(toml(item) for item in value) + "]"
        case dict():
            return "{ " + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + " }"
        case _:
            return repr(value)


def written(document: Mapping[str, Any]) -> str:
    """Write a document as TOML."""
    parts: list[str] = []
    for name, tables in document.items():
        for table in tables if isinstance(tables, list) else [tables]:
            parts.append(f"[[{name}]]" if name in ARRAYS else f"[{name}]")
            parts.extend(f"{key} = {toml(value)}" for key, value in table.items())
    return "\n".join(parts) + "\n"


DOCUMENT = tomllib.loads(EXAMPLE)
OPTIONAL = sorted(
    {
        (name, key)
        for name, tables in DOCUMENT.items()
        for table in (tables if isinstance(tables, list) else [tables])
        for key in table
        if key not in NEEDED[name]
    }
)


@settings(deadline=None)
@given(left_out=st.sets(st.sampled_from(OPTIONAL)))
@example(left_out=set(OPTIONAL))
def test_any_optional_keys_left_out_still_load(left_out: set[tuple[str, str]]) -> None:
    """A shop writes down what it knows; defaults stand for the rest."""
    document = {
        name: [
            {key: value for key, value in table.items() if (name, key) not in left_out}
            for table in tables
        ]
        if isinstance(tables, list)
        else {key: value for key, value in tables.items() if (name, key) not in left_out}
        for name, tables in DOCUMENT.items()
    }
    shop = load_shop(written(document))

    assert [unit.id for unit in shop.units] == [unit["id"] for unit in DOCUMENT["unit"]]
    assert all(unit.limit_c == DEFAULT_LIMIT_C[unit.kind] for unit in shop.units)
    assert len(shop.probes) == len(DOCUMENT["probe"])
    assert all(
        probe.stale_s is None if probe.every_s is None else probe.stale_s == 3 * probe.every_s
        for probe in shop.probes
    )
    assert all(isinstance(warning, str) for warning in warnings_of(shop))


def test_example_written_anew_is_the_same_shop() -> None:
    """The writer of these tests loses nothing."""
    assert load_shop(written(DOCUMENT)) == load_shop(EXAMPLE)


def problems_of(text: str) -> tuple[Problem, ...]:
    """Return what a text is refused for; nothing if it is a shop."""
    try:
        load_shop(text)
    except ConfigError as refused:
        return refused.problems
    return ()


VALUES = st.recursive(
    st.one_of(
        st.integers(-(10**20), 10**20),
        st.floats(),
        st.booleans(),
        st.text(st.characters(codec="utf-8", exclude_categories=["C"]), max_size=12),
        st.sampled_from(["02:00/30m", "json://x", "env:X", "+/#", "mqtt://[", "a@b", "air"]),
    ),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["a", "value"]), inner, max_size=2)
    ),
    max_leaves=4,
)
EVERY_KEY = sorted(
    {(name, key) for name in NEEDED for key in NEEDED[name]}
    | set(OPTIONAL)
    | {("broker", key) for key in ("username", "password", "ca_file", "cert_file", "key_file")}
    | {("unit", "door_open_s"), ("unit", "laxer_because"), ("probe", "slope")}
)


@settings(deadline=None, max_examples=200)
@given(place=st.sampled_from(EVERY_KEY), value=VALUES)
@example(place=("contact", "urls"), value=["mailto://[", "x://y]"])
@example(place=("broker", "url"), value="mqtt://[")
@example(place=("probe", "fields"), value={"value": "(" * 199})
def test_any_value_of_any_key_is_taken_or_refused_in_words(
    place: tuple[str, str], value: object
) -> None:
    """Nothing a person can write makes the reader fail in any other way."""
    name, key = place
    tables = DOCUMENT[name]
    changed = (
        [{**tables[0], key: value}, *tables[1:]]
        if isinstance(tables, list)
        else {**tables, key: value}
    )
    for problem in problems_of(written({**DOCUMENT, name: changed})):
        assert "\n" not in problem.text
        assert problem.path
        assert problem.expected.startswith(("expected ", "did you mean ", "known here: "))


@given(text=st.text(max_size=200))
def test_any_text_at_all_is_refused_in_words(text: str) -> None:
    """No text without a shop in it is a shop, and none is a crash."""
    with pytest.raises(ConfigError):
        load_shop(text)
