"""The JSON Schema of the configuration file, so that an editor can complete and check it."""

import re
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from rimewatch.config.keys import toml_text
from rimewatch.config.tables import File

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of the file, every key described with its unit.

    It knows what each key may hold by itself; what keys say together, only reading tells.
    """
    schema = File.model_json_schema(schema_generator=_TomlSchema)
    for table in (schema, *schema["$defs"].values()):
        for key in table.get("properties", {}).values():
            said = key.get("description", "")
            if "{}" in said:
                key["description"] = said.replace("{}", _shown(key["default"]))
    return {"$schema": DIALECT, **schema}


def _shown(default: object) -> str:
    """Return a default as people write it; local times without seconds."""
    if isinstance(default, float):
        return f"{default:g}"
    text = toml_text(default)
    return f'{text[:6]}"' if re.fullmatch(r'"\d\d:\d\d:00"', text) else text


class _TomlSchema(GenerateJsonSchema):
    """TOML has no null: a key that may be left out is simply not required."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        made = super().default_schema(schema)
        if made.get("default", ...) is None:
            del made["default"]
        return made
