"""The JSON Schema: an editor completes the file and marks typos before we do."""

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from rimewatch.alarms.priority import USUAL_PRIORITY
from rimewatch.config import json_schema, load_shop
from rimewatch.config.table import Table
from rimewatch.config.tables import (
    AtStakeTable,
    BrokerTable,
    ContactTable,
    EscalationTable,
    FieldsTable,
    File,
    MessagesTable,
    MirrorTable,
    NightTable,
    PrioritiesTable,
    ProbeTable,
    RecordsTable,
    RotaTable,
    ShopTable,
    SpeciesTable,
    UnitTable,
    WatchTable,
    WebTable,
)
from rimewatch.config.translate import _expects, keys_of
from rimewatch.shop import (
    AtStake,
    Broker,
    Contact,
    EscalationStep,
    MessageTexts,
    MirrorTo,
    Night,
    Probe,
    SelfWatch,
    Shift,
    Shop,
    ShopSpecies,
    Unit,
)
from rimewatch.vocabulary import Rule

EXAMPLE = Path(__file__).parents[3] / "config" / "saltmarsh-row.toml"
Configuration = Callable[..., str]


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    """Return a validator of the schema, itself checked against the standard's."""
    schema = json_schema()
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def example() -> dict[str, Any]:
    """Return the example as parsed."""
    return tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))


def test_schema_accepts_the_example(validator: Draft202012Validator) -> None:
    """What the service reads, the editor must not mark."""
    assert list(validator.iter_errors(example())) == []


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("unit", "limt_c", 5.0),
        ("unit", "limit_c", "5C"),
        ("unit", "kind", "fridge"),
        ("unit", "defrost", ["2am"]),
        ("unit", "id", "case 1"),
        ("probe", "fields", {"vlue": "t"}),
        ("probe", "every_s", 0),
        ("probe", "plausible_c", [1]),
        ("contact", "urls", []),
        ("escalation", "after_s", -1),
    ],
)
def test_schema_rejects_a_typo(
    validator: Draft202012Validator, table: str, key: str, value: object
) -> None:
    """Each mistake that one key alone shows is marked in the editor."""
    document = example()
    document[table][0][key] = value

    assert len(list(validator.iter_errors(document))) == 1


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("shop", "summary_at", "6:30"),
        ("night", "form", "21:00"),
        ("night", "wake_for", ["loud"]),
        ("broker", "pasword", "env:X"),
    ],
)
def test_schema_rejects_a_typo_in_a_single_table(
    validator: Draft202012Validator, table: str, key: str, value: object
) -> None:
    """Likewise in tables that stand once."""
    document = example()
    document[table][key] = value

    assert len(list(validator.iter_errors(document))) == 1


def test_schema_knows_every_rule_whose_priority_may_change(
    validator: Draft202012Validator,
) -> None:
    """Priorities go by the contract's names of rules."""
    assert set(keys_of(PrioritiesTable)) == {rule.value for rule in Rule}
    document = example() | {"priorities": {rule.value: "low" for rule in Rule}}
    assert list(validator.iter_errors(document)) == []


def described(schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every key of every table, with what the schema says of it."""
    for name, table in {"File": schema, **schema["$defs"]}.items():
        for key, said in table.get("properties", {}).items():
            referred = schema["$defs"][said["$ref"].rsplit("/")[-1]] if "$ref" in said else {}
            yield f"{name}.{key}", {**referred, **said}


def test_schema_describes_every_key() -> None:
    """An editor shows what a key means while one writes."""
    keys = dict(described(json_schema()))

    assert len(keys) > 60
    assert [key for key, said in keys.items() if len(said.get("description", "")) < 10] == []


UNITS = {"_c": "°C", "_s": " s"}


def test_schema_names_the_unit_of_every_quantity() -> None:
    """Nobody should have to guess seconds from minutes."""
    quantities = {
        key: said["description"] for key, said in described(json_schema()) if key[-2:] in UNITS
    }

    assert len(quantities) > 12
    assert [key for key, text in quantities.items() if UNITS[key[-2:]] not in text] == []


@pytest.mark.parametrize("rule", list(Rule))
def test_schema_tells_the_usual_priority_of_each_rule(rule: Rule) -> None:
    """What the description says is what the alarms do."""
    said = json_schema()["$defs"]["PrioritiesTable"]["properties"][rule.value]["description"]

    assert said.endswith(f'Usually "{USUAL_PRIORITY[rule]}".')


def test_schema_has_no_null_for_toml_has_none() -> None:
    """A key may be left out; it can't be empty."""
    assert '"null"' not in str(json_schema()).replace("'", '"')


def tables() -> list[type[Table]]:
    """Return every table's model."""
    return [model for model in Table.__subclasses__() if model is not File]


@pytest.mark.parametrize("model", tables())
def test_every_key_says_what_it_expects(model: type[Table]) -> None:
    """A refusal without a cure helps nobody."""
    silent = [name for name, info in model.model_fields.items() if not list(_expects(info))]

    assert FieldsTable in tables()
    assert silent == []


@pytest.mark.parametrize("table", ["unit", "probe"])
def test_reading_and_schema_agree_on_the_base(
    configuration: Configuration, validator: Draft202012Validator, table: str
) -> None:
    """What one accepts, the other accepts."""
    text = configuration(**{table: {}})
    load_shop(text)

    assert list(validator.iter_errors(tomllib.loads(text))) == []


@pytest.mark.parametrize(
    ("table", "value"),
    [
        (ShopTable, Shop),
        (RecordsTable, Shop),
        (BrokerTable, Broker),
        (UnitTable, Unit),
        (ProbeTable, Probe),
        (WatchTable, SelfWatch),
        (MessagesTable, MessageTexts),
        (MirrorTable, MirrorTo),
        (AtStakeTable, AtStake),
        (SpeciesTable, ShopSpecies),
        (ContactTable, Contact),
        (NightTable, Night),
        (RotaTable, Shift),
        (EscalationTable, EscalationStep),
    ],
)
def test_default_is_declared_in_the_table_alone(table: type[Table], value: type[Any]) -> None:
    """A value has no number or word of its own for a key that has one: they could disagree."""
    own = {one.name: one.default for one in fields(value) if one.default is not MISSING}

    assert {
        key: own[key]
        for key, info in table.model_fields.items()
        if key in own and (info.default or own[key])
    } == {}


def test_default_in_a_keys_words_is_the_one_it_has() -> None:
    """The words name no number of their own: they are filled in from the declaration."""
    words = json_schema()["$defs"]["WebTable"]["properties"]["listen"]

    assert f'Default "{WebTable.model_fields["listen"].default}": this' in words["description"]
    assert "{}" not in str(dict(described(json_schema())))
