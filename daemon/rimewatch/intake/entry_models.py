"""What an operator's entry may hold, key by key: type and bounds.

Only what one entry alone can tell is checked. These models never leave this package:
the service works with the plain values of ``rimewatch.entries``. Never reads a clock.
"""

from collections.abc import Mapping
from typing import Annotated, Final, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)
from pydantic_core import PydanticCustomError

from rimewatch.entries import (
    Acknowledge,
    AttachStatement,
    CalibrationCheck,
    CancelEntry,
    CorrectiveAction,
    CorrectLot,
    EndCooling,
    EndTimeControl,
    InService,
    MoveLot,
    OutOfService,
    ReceiveLot,
    RetryQuarantine,
    Shelve,
    StartCooling,
    StartFreezing,
    StartThawing,
    StartTimeControl,
    Unshelve,
    WithdrawLot,
)
from rimewatch.intake.decoders.times import iso_ms
from rimewatch.vocabulary import (
    CoolingFood,
    Disposition,
    LotId,
    Option,
    Origin,
    ProbeId,
    Rule,
    States,
    UnitId,
)

LONGEST_PROMISE_MINUTES: Final = 24 * 60
"""Nobody leaves fish for longer than a day and calls it acting (our choice)."""

LONGEST_SHELF_MINUTES: Final = 7 * 24 * 60
"""An alarm is put aside for a week at most, never for ever (ISA-18.2 asks for a limit and
leaves the length to the site; the week is ours)."""

Word = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
"""An id or a name: never empty."""
Prose = Annotated[str, StringConstraints(strip_whitespace=True, max_length=4000)]


def _instant(value: object) -> int:
    at_ms = iso_ms(value) if isinstance(value, str) else None
    if at_ms is None:
        raise PydanticCustomError("instant", "not an instant")
    return at_ms


Instant = Annotated[int, BeforeValidator(_instant)]
"""ISO 8601 with a zone, in milliseconds UTC from here on."""


class EntryModel(BaseModel):
    """What every entry may have."""

    model_config = ConfigDict(
        strict=True, frozen=True, extra="forbid", allow_inf_nan=False, hide_input_in_errors=True
    )
    who: Annotated[str, StringConstraints(strip_whitespace=True, max_length=200)] = ""
    entered: Instant | None = None
    """When it was entered, where that was not at once."""


class ReceiveLotModel(EntryModel):
    """A lot came in."""

    do: Literal["receive-lot"]
    lot: Word
    species: Word
    origin: Annotated[Origin, Field(strict=False)]
    serve_raw: bool
    thickness_mm: Annotated[float, Field(gt=0, le=2000)] | None = None
    celsius: Annotated[float, Field(ge=-100, le=60)] | None = None
    kilograms: Annotated[float, Field(gt=0, le=100_000)] | None = None
    supplier: Prose = ""
    supplier_reference: Prose = ""
    statement: Prose = ""
    rop: bool = False

    def made(self, at_ms: int) -> ReceiveLot:
        """Return the entry, made at an instant."""
        return ReceiveLot(
            at_ms=at_ms,
            who=self.who,
            lot=LotId(self.lot),
            species=self.species,
            origin=self.origin,
            serve_raw=self.serve_raw,
            thickness_mm=self.thickness_mm,
            celsius=self.celsius,
            kilograms=self.kilograms,
            supplier=self.supplier,
            supplier_reference=self.supplier_reference,
            statement=self.statement,
            rop=self.rop,
        )


class CorrectLotModel(EntryModel):
    """What was said at receipt was wrong."""

    do: Literal["correct-lot"]
    lot: Word
    reason: Annotated[Prose, Field(min_length=1)]
    species: Word | None = None
    origin: Annotated[Origin, Field(strict=False)] | None = None
    serve_raw: bool | None = None
    thickness_mm: Annotated[float, Field(gt=0, le=2000)] | None = None
    celsius: Annotated[float, Field(ge=-100, le=60)] | None = None
    kilograms: Annotated[float, Field(gt=0, le=100_000)] | None = None
    supplier: Prose | None = None
    supplier_reference: Prose | None = None
    statement: Prose | None = None
    rop: bool | None = None

    def made(self, at_ms: int) -> CorrectLot:
        """Return the entry, made at an instant."""
        said = self.model_dump(exclude={"do", "entered", "lot", "who"})
        return CorrectLot(at_ms=at_ms, who=self.who, lot=LotId(self.lot), **said)


class AttachStatementModel(EntryModel):
    """A supplier's statement is on file."""

    do: Literal["attach-statement"]
    lot: Word
    reference: Word
    states: Annotated[States, Field(strict=False)]
    file: Annotated[str, StringConstraints(strip_whitespace=True, max_length=255)] = ""
    sha256: Annotated[str, Field(pattern="^([0-9a-f]{64})?$")] = ""
    option: Annotated[Option, Field(strict=False)] | None = None

    def made(self, at_ms: int) -> AttachStatement:
        """Return the entry, made at an instant."""
        return AttachStatement(
            at_ms=at_ms,
            who=self.who,
            lot=LotId(self.lot),
            reference=self.reference,
            states=self.states,
            file=self.file,
            sha256=self.sha256,
            option=self.option,
        )


class StartFreezingModel(EntryModel):
    """A lot went into its freezing hold."""

    do: Literal["start-freezing"]
    lot: Word
    unit: Word
    option: Annotated[Option, Field(strict=False)]
    needed_by: Instant | None = None
    probe: Word | None = None

    def made(self, at_ms: int) -> StartFreezing:
        """Return the entry, made at an instant."""
        return StartFreezing(
            at_ms=at_ms,
            who=self.who,
            lot=LotId(self.lot),
            unit=UnitId(self.unit),
            option=self.option,
            needed_by_ms=self.needed_by,
            probe=None if self.probe is None else ProbeId(self.probe),
        )


class StartThawingModel(EntryModel):
    """A lot was put to thaw."""

    do: Literal["start-thawing"]
    lot: Word
    unit: Word

    def made(self, at_ms: int) -> StartThawing:
        """Return the entry, made at an instant."""
        return StartThawing(at_ms=at_ms, who=self.who, lot=LotId(self.lot), unit=UnitId(self.unit))


class MoveLotModel(EntryModel):
    """A lot was put into another unit."""

    do: Literal["move-lot"]
    lot: Word
    unit: Word

    def made(self, at_ms: int) -> MoveLot:
        """Return the entry, made at an instant."""
        return MoveLot(at_ms=at_ms, who=self.who, lot=LotId(self.lot), unit=UnitId(self.unit))


class WithdrawLotModel(EntryModel):
    """A lot is gone."""

    do: Literal["withdraw-lot"]
    lot: Word
    reason: Prose = ""

    def made(self, at_ms: int) -> WithdrawLot:
        """Return the entry, made at an instant."""
        return WithdrawLot(at_ms=at_ms, who=self.who, lot=LotId(self.lot), reason=self.reason)


class CancelEntryModel(EntryModel):
    """An entry does not count any more."""

    do: Literal["cancel-entry"]
    number: Annotated[int, Field(ge=1)]
    reason: Annotated[Prose, Field(min_length=1)]

    def made(self, at_ms: int) -> CancelEntry:
        """Return the entry, made at an instant."""
        return CancelEntry(at_ms=at_ms, who=self.who, number=self.number, reason=self.reason)


class AcknowledgeModel(EntryModel):
    """Somebody has seen an alarm."""

    do: Literal["acknowledge"]
    unit: Word | None
    rule: Annotated[Rule, Field(strict=False)]
    back_within_min: Annotated[float, Field(gt=0, le=LONGEST_PROMISE_MINUTES)] | None = None
    alarm: Annotated[str, StringConstraints(max_length=200)] = ""

    def made(self, at_ms: int) -> Acknowledge:
        """Return the entry, made at an instant."""
        return Acknowledge(
            at_ms=at_ms,
            who=self.who,
            unit=(None if self.unit is None else UnitId(self.unit)),
            rule=self.rule,
            back_within_min=self.back_within_min,
            alarm=self.alarm,
        )


class ShelveModel(EntryModel):
    """An alarm is put aside for a while."""

    do: Literal["shelve"]
    unit: Word | None
    rule: Annotated[Rule, Field(strict=False)]
    minutes: Annotated[float, Field(gt=0, le=LONGEST_SHELF_MINUTES)]

    def made(self, at_ms: int) -> Shelve:
        """Return the entry, made at an instant."""
        return Shelve(
            at_ms=at_ms,
            who=self.who,
            unit=(None if self.unit is None else UnitId(self.unit)),
            rule=self.rule,
            minutes=self.minutes,
        )


class UnshelveModel(EntryModel):
    """An alarm is taken from its shelf."""

    do: Literal["unshelve"]
    unit: Word | None
    rule: Annotated[Rule, Field(strict=False)]

    def made(self, at_ms: int) -> Unshelve:
        """Return the entry, made at an instant."""
        unit = None if self.unit is None else UnitId(self.unit)
        return Unshelve(at_ms=at_ms, who=self.who, unit=unit, rule=self.rule)


class OutOfServiceModel(EntryModel):
    """A unit is out of service."""

    do: Literal["out-of-service"]
    unit: Word

    def made(self, at_ms: int) -> OutOfService:
        """Return the entry, made at an instant."""
        return OutOfService(at_ms=at_ms, who=self.who, unit=UnitId(self.unit))


class InServiceModel(EntryModel):
    """A unit is back."""

    do: Literal["in-service"]
    unit: Word

    def made(self, at_ms: int) -> InService:
        """Return the entry, made at an instant."""
        return InService(at_ms=at_ms, who=self.who, unit=UnitId(self.unit))


class CorrectiveActionModel(EntryModel):
    """What was done about it."""

    do: Literal["corrective-action"]
    unit: Word
    text: Annotated[Prose, Field(min_length=1)]
    disposition: Annotated[Disposition, Field(strict=False)] | None = None
    lots: Annotated[list[Word], Field(max_length=100)] = []

    def made(self, at_ms: int) -> CorrectiveAction:
        """Return the entry, made at an instant."""
        return CorrectiveAction(
            at_ms=at_ms,
            who=self.who,
            unit=UnitId(self.unit),
            text=self.text,
            disposition=self.disposition,
            lots=tuple(LotId(lot) for lot in self.lots),
        )


class StartCoolingModel(EntryModel):
    """A batch was put to cool."""

    do: Literal["start-cooling"]
    unit: Word
    food: Annotated[CoolingFood, Field(strict=False)] = CoolingFood.COOKED
    lot: Word | None = None

    def made(self, at_ms: int) -> StartCooling:
        """Return the entry, made at an instant."""
        lot = None if self.lot is None else LotId(self.lot)
        return StartCooling(
            at_ms=at_ms, who=self.who, unit=UnitId(self.unit), food=self.food, lot=lot
        )


class EndCoolingModel(EntryModel):
    """A batch no longer cools there."""

    do: Literal["end-cooling"]
    unit: Word

    def made(self, at_ms: int) -> EndCooling:
        """Return the entry, made at an instant."""
        return EndCooling(at_ms=at_ms, who=self.who, unit=UnitId(self.unit))


class _TimedModel(EntryModel):
    """Something under a timer: a unit or a lot, and not both."""

    unit: Word | None = None
    lot: Word | None = None

    @model_validator(mode="after")
    def _is_one(self) -> Self:
        if (self.unit is None) == (self.lot is None):
            raise PydanticCustomError("one_of_two", "a unit or a lot")
        return self

    @property
    def target(self) -> tuple[UnitId | None, LotId | None]:
        """The unit or the lot."""
        return (
            None if self.unit is None else UnitId(self.unit),
            None if self.lot is None else LotId(self.lot),
        )


class StartTimeControlModel(_TimedModel):
    """Food left temperature control."""

    do: Literal["start-time-control"]
    hours: Literal[4, 6]
    celsius: Annotated[float, Field(ge=-100, le=100)] | None = None

    def made(self, at_ms: int) -> StartTimeControl:
        """Return the entry, made at an instant."""
        unit, lot = self.target
        return StartTimeControl(
            at_ms=at_ms,
            who=self.who,
            unit=unit,
            lot=lot,
            hours=self.hours,
            celsius=self.celsius,
        )


class EndTimeControlModel(_TimedModel):
    """What was under the timer is gone."""

    do: Literal["end-time-control"]

    def made(self, at_ms: int) -> EndTimeControl:
        """Return the entry, made at an instant."""
        unit, lot = self.target
        return EndTimeControl(at_ms=at_ms, who=self.who, unit=unit, lot=lot)


class CalibrationCheckModel(EntryModel):
    """A probe was checked."""

    do: Literal["calibration-check"]
    probe: Word
    found_c: Annotated[float, Field(ge=-100, le=100)]
    reference: Prose = ""
    offset_c: Annotated[float, Field(ge=-100, le=100)] | None = None

    def made(self, at_ms: int) -> CalibrationCheck:
        """Return the entry, made at an instant."""
        return CalibrationCheck(
            at_ms=at_ms,
            who=self.who,
            probe=ProbeId(self.probe),
            found_c=self.found_c,
            reference=self.reference,
            offset_c=self.offset_c,
        )


class RetryQuarantineModel(EntryModel):
    """Quarantine is to be read once more."""

    do: Literal["retry-quarantine"]

    def made(self, at_ms: int) -> RetryQuarantine:
        """Return the entry, made at an instant."""
        return RetryQuarantine(at_ms=at_ms, who=self.who)


AnyModel = (
    ReceiveLotModel
    | CorrectLotModel
    | AttachStatementModel
    | StartFreezingModel
    | StartThawingModel
    | MoveLotModel
    | WithdrawLotModel
    | CancelEntryModel
    | AcknowledgeModel
    | ShelveModel
    | UnshelveModel
    | OutOfServiceModel
    | InServiceModel
    | CorrectiveActionModel
    | StartCoolingModel
    | EndCoolingModel
    | StartTimeControlModel
    | EndTimeControlModel
    | CalibrationCheckModel
    | RetryQuarantineModel
)

MODELS: Final[Mapping[str, type[AnyModel]]] = {
    "receive-lot": ReceiveLotModel,
    "start-freezing": StartFreezingModel,
    "move-lot": MoveLotModel,
    "withdraw-lot": WithdrawLotModel,
    "start-thawing": StartThawingModel,
    "attach-statement": AttachStatementModel,
    "correct-lot": CorrectLotModel,
    "cancel-entry": CancelEntryModel,
    "acknowledge": AcknowledgeModel,
    "shelve": ShelveModel,
    "unshelve": UnshelveModel,
    "out-of-service": OutOfServiceModel,
    "in-service": InServiceModel,
    "corrective-action": CorrectiveActionModel,
    "start-cooling": StartCoolingModel,
    "end-cooling": EndCoolingModel,
    "start-time-control": StartTimeControlModel,
    "end-time-control": EndTimeControlModel,
    "calibration-check": CalibrationCheckModel,
    "retry-quarantine": RetryQuarantineModel,
}
"""What can be entered, by the contract's names."""
