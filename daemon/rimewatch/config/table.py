"""What every table of the configuration file has in common."""

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """What every table has in common: nothing unknown, nothing guessed, nothing infinite."""

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
