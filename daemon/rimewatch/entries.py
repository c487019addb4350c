"""What people enter: lots received, frozen and moved; alarms acknowledged; what was done.

Entries are append-only: a correction is a further entry. Pure values; the
edge (``rimewatch.intake.entries``) reads and checks them.
"""

from dataclasses import dataclass

from rimewatch.vocabulary import Disposition, LotId, Option, Origin, Rule, UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Something a person did, and when."""

    at_ms: int
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiveLot(Entry):
    """A lot came in. ``celsius`` is the temperature measured at receipt."""

    lot: LotId
    species: str
    origin: Origin
    serve_raw: bool
    thickness_mm: float | None = None
    celsius: float | None = None
    kilograms: float | None = None
    supplier: str = ""
    supplier_reference: str = ""
    statement: str = ""
    """Reference of the supplier's written statement, where there is one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartFreezing(Entry):
    """A lot was put into a freezer for parasite destruction by an option."""

    lot: LotId
    unit: UnitId
    option: Option


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveLot(Entry):
    """A lot was put into another unit."""

    lot: LotId
    unit: UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class WithdrawLot(Entry):
    """A lot left: sold out, used cooked, or discarded."""

    lot: LotId
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledge(Entry):
    """Somebody has seen an alarm and is acting. ``unit`` None: an alarm over several units."""

    unit: UnitId | None
    rule: Rule


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelve(Entry):
    """An alarm is put aside for some minutes, never for ever."""

    unit: UnitId | None
    rule: Rule
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OutOfService(Entry):
    """A unit is being cleaned or is dead: it keeps its record and raises nothing."""

    unit: UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class InService(Entry):
    """A unit is back in service."""

    unit: UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectiveAction(Entry):
    """What was done about it, in the person's own words."""

    unit: UnitId
    text: str
    disposition: Disposition | None = None
    """What became of the fish; None: nobody said."""
    lots: tuple[LotId, ...] = ()
    """The lots it was about, where they are known."""


AnyEntry = (
    ReceiveLot
    | StartFreezing
    | MoveLot
    | WithdrawLot
    | Acknowledge
    | Shelve
    | OutOfService
    | InService
    | CorrectiveAction
)
