"""What people do in a scenario: operator entries, by the names of the trace format."""

from typing import Annotated, Any, Literal

from pydantic import Field

from rimewatch_sim.models import Moment, Name, Strict

RuleName = Literal[
    "holding",
    "operating-limit",
    "freezer",
    "hold-at-risk",
    "door",
    "stale",
    "battery",
    "stuck",
    "implausible",
    "water",
    "cooling",
    "projection",
    "power-loss",
    "humidity",
]

OptionName = Literal["20C-168h", "35C-15h", "35C-then-20C-24h", "20C-24h"]


class _Entry(Strict):
    at: Moment
    who: str | None = None

    def fields(self) -> dict[str, Any]:
        """Return the entry as it stands in a trace, without its time and what is unset."""
        return self.model_dump(exclude={"at"}, exclude_none=True)


class ReceiveLot(_Entry):
    """A lot came in."""

    do: Literal["receive-lot"]
    lot: Name
    species: str
    origin: Literal["wild", "farmed-pellet", "farmed-other"]
    serve_raw: bool
    thickness_mm: float | None = Field(default=None, gt=0)
    celsius: float | None = None
    kilograms: float | None = Field(default=None, gt=0)
    supplier: str | None = None
    supplier_reference: str | None = None
    statement: str | None = None
    """Reference of the supplier's written statement."""
    rop: bool | None = None
    """Whether it came in reduced oxygen packaging."""


class CorrectLot(_Entry):
    """What was said of a lot at receipt was wrong."""

    do: Literal["correct-lot"]
    lot: Name
    reason: str = Field(min_length=1)
    species: str | None = None
    origin: Literal["wild", "farmed-pellet", "farmed-other"] | None = None
    serve_raw: bool | None = None
    thickness_mm: float | None = Field(default=None, gt=0)
    celsius: float | None = None
    kilograms: float | None = Field(default=None, gt=0)
    supplier: str | None = None
    supplier_reference: str | None = None
    statement: str | None = None
    rop: bool | None = None


class AttachStatement(_Entry):
    """A supplier's written statement was put on file."""

    do: Literal["attach-statement"]
    lot: Name
    reference: str = Field(min_length=1)
    states: Literal["freezing", "feed"]
    option: OptionName | None = None


class StartFreezing(_Entry):
    """A lot was put into a freezer for parasite destruction."""

    do: Literal["start-freezing"]
    lot: Name
    unit: Name
    option: OptionName
    probe: Name | None = None
    """The product probe that was put into this very lot."""


class StartThawing(_Entry):
    """A lot was put into a refrigerated unit to thaw."""

    do: Literal["start-thawing"]
    lot: Name
    unit: Name


class MoveLot(_Entry):
    """A lot was put into another unit."""

    do: Literal["move-lot"]
    lot: Name
    unit: Name


class WithdrawLot(_Entry):
    """A lot left: sold out, used cooked, or discarded."""

    do: Literal["withdraw-lot"]
    lot: Name
    reason: str | None = None


class CancelEntry(_Entry):
    """An entry should never have been made; entries count from 1 in their order."""

    do: Literal["cancel-entry"]
    number: int = Field(ge=1)
    reason: str = Field(min_length=1)


class Acknowledge(_Entry):
    """Somebody has seen an alarm. No unit: an alarm over several units."""

    do: Literal["acknowledge"]
    unit: Name | None = None
    rule: RuleName

    def fields(self) -> dict[str, Any]:
        """Return the entry as it stands in a trace; ``unit`` is there even if null."""
        return {**super().fields(), "unit": self.unit}


class Shelve(_Entry):
    """An alarm is put aside for some minutes."""

    do: Literal["shelve"]
    unit: Name
    rule: RuleName
    minutes: float = Field(gt=0)


class Unshelve(_Entry):
    """An alarm is taken from its shelf before the shelf ends."""

    do: Literal["unshelve"]
    unit: Name
    rule: RuleName


class Service(_Entry):
    """A unit goes out of service, or is back."""

    do: Literal["out-of-service", "in-service"]
    unit: Name


class CorrectiveAction(_Entry):
    """What was done about it."""

    do: Literal["corrective-action"]
    unit: Name
    text: str = Field(min_length=1)


class StartCooling(_Entry):
    """A batch of food was put to cool, with the product probe in it."""

    do: Literal["start-cooling"]
    unit: Name
    food: Literal["cooked", "ambient"] | None = None
    lot: Name | None = None


class EndCooling(_Entry):
    """The batch was taken out."""

    do: Literal["end-cooling"]
    unit: Name


class StartTimeControl(_Entry):
    """A unit's food, or a lot, left temperature control against a timer."""

    do: Literal["start-time-control"]
    hours: Literal[4, 6]
    unit: Name | None = None
    lot: Name | None = None
    celsius: float | None = None


class EndTimeControl(_Entry):
    """What was under the timer is gone."""

    do: Literal["end-time-control"]
    unit: Name | None = None
    lot: Name | None = None


AnyEntry = Annotated[
    ReceiveLot
    | CorrectLot
    | AttachStatement
    | StartFreezing
    | StartThawing
    | MoveLot
    | WithdrawLot
    | CancelEntry
    | Acknowledge
    | Shelve
    | Unshelve
    | Service
    | CorrectiveAction
    | StartCooling
    | EndCooling
    | StartTimeControl
    | EndTimeControl,
    Field(discriminator="do"),
]
