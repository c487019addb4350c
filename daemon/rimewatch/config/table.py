"""What every table of the configuration file has in common."""

from collections.abc import Callable
from dataclasses import fields
from typing import Any, TypeVar, cast

from pydantic import BaseModel, ConfigDict

Value = TypeVar("Value")


class Table(BaseModel):
    """What every table has in common: nothing unknown, nothing guessed, nothing infinite.

    A key is declared once: its type, bounds, unit, default and words. In its words ``{}``
    stands for the default.
    """

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        frozen=True,
        allow_inf_nan=False,
        hide_input_in_errors=True,
        use_attribute_docstrings=True,
        validate_by_alias=True,
        validate_by_name=False,
    )


def taken(value: Callable[..., Value], *tables: Table, **worked_out: object) -> Value:
    """Return a value of the service: the tables' keys of the same names, as they stand.

    Args:
        value: One of the dataclasses of ``rimewatch.shop``.
        tables: Where its fields are looked up; one that none has keeps its own default.
        worked_out: The fields that are not taken as they stand.
    """
    given = {name: held for table in tables for name, held in table}
    same = {
        field.name: tuple(held) if isinstance(held := given[field.name], list) else held
        for field in fields(cast("Any", value))
        if field.name in given and field.name not in worked_out
    }
    return value(**same, **worked_out)
