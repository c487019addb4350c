"""What happens to units and probes in a scenario, on its timeline."""

import re
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from rimewatch_sim.models import Duration, Moment, Name, Strict


class _Event(Strict):
    at: Moment


class DoorOpen(_Event):
    """A door stands open."""

    do: Literal["door-open"]
    unit: Name
    lasts: Duration


class DoorTraffic(_Event):
    """People come and go: openings at chance times, so many an hour on average."""

    do: Literal["door-traffic"]
    unit: Name
    lasts: Duration
    per_hour: float = Field(gt=0, le=120)
    open_s: float = Field(default=12.0, gt=0, le=600)


class Defrost(_Event):
    """A defrost beside the daily ones."""

    do: Literal["defrost"]
    unit: Name
    lasts: Duration


class Load(_Event):
    """Fish is put in, perhaps warmer than what is there."""

    do: Literal["load"]
    unit: Name
    lot: Name
    kilograms: float = Field(gt=0, le=2000)
    celsius: float = Field(ge=-90, le=40)


class Unload(_Event):
    """Fish is taken out; the dummy in which the product probe sits stays."""

    do: Literal["unload"]
    unit: Name
    part_left: float = Field(default=0.0, ge=0, lt=1)


class CoolingLoss(_Event):
    """Cooling falls to a part of itself, at once or over some time, until repaired.

    ``compressor-failure``: the compressor weakens or stops. ``refrigerant-decline``:
    a slow leak. ``evaporator-icing``: the coil ices over.
    """

    do: Literal["compressor-failure", "refrigerant-decline", "evaporator-icing"]
    unit: Name
    left: float = Field(default=0.0, ge=0, lt=1)
    over: Duration | None = None
    lasts: Duration | None = None
    """Until repaired, counted from ``at``; unset: to the end."""


class PowerLoss(_Event):
    """Power is gone from some units, or from all."""

    do: Literal["power-loss"]
    units: tuple[Name, ...] = ()
    """Empty: every unit."""
    lasts: Duration
    network_too: bool = False
    """The probes' network is gone as well: they send their back-log afterwards."""


class DropOut(_Event):
    """A probe goes silent."""

    do: Literal["drop-out"]
    probe: Name
    lasts: Duration | None = None
    """Unset: it never comes back."""
    backlog: bool = False
    """On return it sends what it has kept, each reading with its own time."""


class Stuck(_Event):
    """A probe repeats its last value."""

    do: Literal["stuck"]
    probe: Name
    lasts: Duration | None = None


class Fault(_Event):
    """A probe sends a fault code in place of a temperature.

    −127 and 85 are what a common one-wire sensor gives when it is not there and when
    it has not measured yet (from its data sheet, from memory); 999 and NaN are usual.
    """

    do: Literal["fault"]
    probe: Name
    code: Literal["-127", "85", "999", "NaN"]
    count: int = Field(default=1, ge=1)
    """How many readings in a row."""


class Garbage(_Event):
    """Something that is no reading arrives on a topic."""

    do: Literal["garbage"]
    topic: str = Field(min_length=1, pattern=r"^[^+#\x00]+$")
    payload: str
    hexadecimal: bool = False
    """The payload is written as hexadecimal digits."""

    @model_validator(mode="after")
    def _is_hexadecimal(self) -> Self:
        if self.hexadecimal and re.fullmatch(r"([0-9A-Fa-f]{2})*", self.payload) is None:
            raise ValueError(
                f'payload is "{self.payload}"; with hexadecimal = true it must be pairs of '
                'hexadecimal digits, such as "7bff"'
            )
        return self

    def sent(self) -> bytes:
        """Return the payload as it is sent."""
        return bytes.fromhex(self.payload) if self.hexadecimal else self.payload.encode()


class Duplicates(_Event):
    """Each of a probe's messages arrives twice."""

    do: Literal["duplicates"]
    probe: Name
    lasts: Duration


class Battery(_Event):
    """A probe's battery is at so many percent from now on, and falls; at 0 the probe is silent."""

    do: Literal["battery"]
    probe: Name
    percent: float = Field(gt=0, le=100)
    per_day: float = Field(ge=0)


class ClockOffset(_Event):
    """A probe's own clock is wrong: ahead, or behind if negative."""

    do: Literal["clock-offset"]
    probe: Name
    seconds: int
    lasts: Duration | None = None


OfProbe = DropOut | Stuck | Fault | Duplicates | Battery | ClockOffset

AnyEvent = Annotated[
    DoorOpen
    | DoorTraffic
    | Defrost
    | Load
    | Unload
    | CoolingLoss
    | PowerLoss
    | DropOut
    | Stuck
    | Fault
    | Garbage
    | Duplicates
    | Battery
    | ClockOffset,
    Field(discriminator="do"),
]
