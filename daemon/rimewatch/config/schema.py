"""The JSON Schema of the configuration file, so that an editor can complete and check it."""

from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from rimewatch.config.tables import File

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of the file, every key described with its unit.

    It knows what each key may hold by itself; what keys say together, only reading tells.
    """
    schema = File.model_json_schema(schema_generator=_TomlSchema)
    return {"$schema": DIALECT, **schema}


class _TomlSchema(GenerateJsonSchema):
    """TOML has no null: a key that may be left out is simply not required."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        made = super().default_schema(schema)
        if made.get("default", ...) is None:
            del made["default"]
        return made
