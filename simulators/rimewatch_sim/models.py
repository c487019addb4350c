"""What every model of a scenario file shares: strictness, and times as people write them."""

from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from rimewatch_sim.timeline import check_moment, duration_s, local_datetime, time_of_day


class Strict(BaseModel):
    """A table of a scenario file: unknown keys and non-finite numbers are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _duration(text: str) -> str:
    duration_s(text)
    return text


def _start(text: str) -> str:
    local_datetime(text)
    return text


def _defrost(text: str) -> str:
    begins, slash, length = text.partition("/")
    if not slash:
        raise ValueError(f'"{text}" is not a defrost; write start and length as "02:00/30m"')
    time_of_day(begins)
    duration_s(length)
    return text


Moment = Annotated[str, AfterValidator(check_moment)]
Duration = Annotated[str, AfterValidator(_duration)]
Start = Annotated[str, AfterValidator(_start)]
DailyDefrost = Annotated[str, AfterValidator(_defrost)]
Name = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$")]
