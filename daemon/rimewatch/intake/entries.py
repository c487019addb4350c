"""Operator entries from outside: checked, then made into the service's own values.

An entry is a JSON object with ``do`` and that entry's keys. A key nobody knows is
refused: what a person meant to put on the record must not be lost. Whether a lot or a
unit exists is not checked here. Never reads a clock.
"""

import difflib
from collections.abc import Callable, Mapping
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from rimewatch.entries import (
    Acknowledge,
    AnyEntry,
    CorrectiveAction,
    InService,
    MoveLot,
    OutOfService,
    ReceiveLot,
    Shelve,
    StartFreezing,
    WithdrawLot,
)
from rimewatch.vocabulary import LotId, Option, Origin, Rule, UnitId

LONGEST_SHELF_MINUTES: Final = 7 * 24 * 60
"""An alarm is put aside for a week at most, never for ever (ISA-18.2 asks for a limit and
leaves the length to the site; the week is ours)."""

Word = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
"""An id or a name: never empty."""
Prose = Annotated[str, StringConstraints(strip_whitespace=True, max_length=4000)]


class EntryError(ValueError):
    """An entry cannot be taken. The text says what is wrong and what would be right."""


class _Entry(BaseModel):
    model_config = ConfigDict(
        strict=True, frozen=True, extra="forbid", allow_inf_nan=False, hide_input_in_errors=True
    )
    who: Annotated[str, StringConstraints(strip_whitespace=True, max_length=200)] = ""


class _ReceiveLot(_Entry):
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

    def made(self, at_ms: int) -> ReceiveLot:
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
        )


class _StartFreezing(_Entry):
    do: Literal["start-freezing"]
    lot: Word
    unit: Word
    option: Annotated[Option, Field(strict=False)]

    def made(self, at_ms: int) -> StartFreezing:
        lot, unit = LotId(self.lot), UnitId(self.unit)
        return StartFreezing(at_ms=at_ms, who=self.who, lot=lot, unit=unit, option=self.option)


class _MoveLot(_Entry):
    do: Literal["move-lot"]
    lot: Word
    unit: Word

    def made(self, at_ms: int) -> MoveLot:
        return MoveLot(at_ms=at_ms, who=self.who, lot=LotId(self.lot), unit=UnitId(self.unit))


class _WithdrawLot(_Entry):
    do: Literal["withdraw-lot"]
    lot: Word
    reason: Prose = ""

    def made(self, at_ms: int) -> WithdrawLot:
        return WithdrawLot(at_ms=at_ms, who=self.who, lot=LotId(self.lot), reason=self.reason)


class _Acknowledge(_Entry):
    do: Literal["acknowledge"]
    unit: Word | None
    rule: Annotated[Rule, Field(strict=False)]

    def made(self, at_ms: int) -> Acknowledge:
        return Acknowledge(at_ms=at_ms, who=self.who, unit=_unit(self.unit), rule=self.rule)


class _Shelve(_Entry):
    do: Literal["shelve"]
    unit: Word | None
    rule: Annotated[Rule, Field(strict=False)]
    minutes: Annotated[float, Field(gt=0, le=LONGEST_SHELF_MINUTES)]

    def made(self, at_ms: int) -> Shelve:
        return Shelve(
            at_ms=at_ms, who=self.who, unit=_unit(self.unit), rule=self.rule, minutes=self.minutes
        )


class _OutOfService(_Entry):
    do: Literal["out-of-service"]
    unit: Word

    def made(self, at_ms: int) -> OutOfService:
        return OutOfService(at_ms=at_ms, who=self.who, unit=UnitId(self.unit))


class _InService(_Entry):
    do: Literal["in-service"]
    unit: Word

    def made(self, at_ms: int) -> InService:
        return InService(at_ms=at_ms, who=self.who, unit=UnitId(self.unit))


class _CorrectiveAction(_Entry):
    do: Literal["corrective-action"]
    unit: Word
    text: Annotated[Prose, Field(min_length=1)]

    def made(self, at_ms: int) -> CorrectiveAction:
        unit = UnitId(self.unit)
        return CorrectiveAction(at_ms=at_ms, who=self.who, unit=unit, text=self.text)


AnyModel = (
    _ReceiveLot
    | _StartFreezing
    | _MoveLot
    | _WithdrawLot
    | _Acknowledge
    | _Shelve
    | _OutOfService
    | _InService
    | _CorrectiveAction
)

MODELS: Final[Mapping[str, type[AnyModel]]] = {
    "receive-lot": _ReceiveLot,
    "start-freezing": _StartFreezing,
    "move-lot": _MoveLot,
    "withdraw-lot": _WithdrawLot,
    "acknowledge": _Acknowledge,
    "shelve": _Shelve,
    "out-of-service": _OutOfService,
    "in-service": _InService,
    "corrective-action": _CorrectiveAction,
}
"""What can be entered, by the contract's names."""


def parse_entry(entry: Mapping[str, object], at_ms: int) -> AnyEntry:
    """Return what a person entered.

    Args:
        entry: The entry's keys. ``at`` is left to the caller and not looked at.
        at_ms: When it was entered, milliseconds UTC.

    Raises:
        EntryError: If it is no entry: an unknown ``do``, a key missing or unknown, a
            value that is none of those allowed. One sentence, with the cure.
    """
    do = entry.get("do")
    model = MODELS.get(do) if isinstance(do, str) else None
    if model is None:
        expected = ", ".join(MODELS)
        said = "missing" if do is None else f"{_shown(do)}"
        raise EntryError(f'"do" is {said}; expected one of {expected}{_guess(do, MODELS)}')
    given = {key: value for key, value in entry.items() if key != "at"}
    if model in (_Acknowledge, _Shelve) and given.get("rule") == Rule.POWER_LOSS:
        given.setdefault("unit", None)  # one alarm over several units
    try:
        checked = model.model_validate(given)
    except ValidationError as err:
        raise EntryError(_sentence(str(do), model, given, err)) from None
    if getattr(checked, "unit", "") is None and getattr(checked, "rule", None) != Rule.POWER_LOSS:
        raise EntryError(f'{do}: "unit" is null; only power-loss is an alarm over several units')
    return checked.made(at_ms)


def _unit(unit: str | None) -> UnitId | None:
    return None if unit is None else UnitId(unit)


def _sentence(
    do: str, model: type[BaseModel], given: Mapping[str, object], err: ValidationError
) -> str:
    first = err.errors(include_url=False, include_context=True, include_input=False)[0]
    key = str(first["loc"][0])
    kind, context = first["type"], first.get("ctx", {})
    allowed = [name for name in model.model_fields if name != "do"]
    if kind == "missing":
        return f'{do}: "{key}" is missing; it needs {", ".join(_needed(model))}'
    if kind == "extra_forbidden":
        guess = _guess(key, allowed)
        return f"{do}: unknown key {_shown(key)}; it may have {', '.join(allowed)}{guess}"
    say = _SAID.get(kind)
    expected = say(context) if say is not None else first["msg"].lower()
    words = str(context["expected"]).replace("'", "").split(", ") if kind == "enum" else []
    value = given.get(key)
    return f'{do}: "{key}" is {_shown(value)}; expected {expected}{_guess(value, words)}'


_SAID: Final[Mapping[str, Callable[[Mapping[str, object]], str]]] = {
    "enum": lambda c: f"one of {str(c['expected']).replace(chr(39), '')}",
    "bool_type": lambda _: "true or false",
    "string_type": lambda _: "text",
    "string_too_short": lambda _: "text that is not empty",
    "string_too_long": lambda c: f"at most {c['max_length']} characters",
    "float_type": lambda _: "a number",
    "finite_number": lambda _: "a finite number",
    "greater_than": lambda c: f"more than {c['gt']}",
    "greater_than_equal": lambda c: f"at least {c['ge']}",
    "less_than_equal": lambda c: f"at most {c['le']}",
}


def _needed(model: type[BaseModel]) -> list[str]:
    return [
        name for name, field in model.model_fields.items() if field.is_required() and name != "do"
    ]


def _guess(said: object, known: Mapping[str, object] | list[str]) -> str:
    close = difflib.get_close_matches(said, list(known), n=1) if isinstance(said, str) else []
    return f'; did you mean "{close[0]}"?' if close else ""


def _shown(value: object) -> str:
    if isinstance(value, str):
        return f'"{value[:80]}"'
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    return ascii(value)[:80] if isinstance(value, float) else f"a {type(value).__name__}"
