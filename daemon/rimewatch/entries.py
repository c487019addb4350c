"""What people enter: lots received, frozen and moved; alarms acknowledged; what was done.

Entries are append-only: a correction is a further entry. Pure values; the
edge (``rimewatch.intake.entries``) reads and checks them.
"""

from dataclasses import dataclass, field

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Something a person did, and when."""

    at_ms: int
    who: str = ""
    entered_ms: int | None = None
    """When it was entered, where that was not at once; None: at ``at_ms``."""
    entry_number: int = field(default=0, compare=False)
    """Which entry it is, counted from 1 in the order they came; 0: not on the books yet.
    It is given by who keeps the books and is no part of what the person said."""


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
    rop: bool = False
    """Whether it came in reduced oxygen packaging (vacuum-packed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectLot(Entry):
    """What was said of a lot at its receipt was wrong. None: that was right, and stays."""

    lot: LotId
    reason: str
    species: str | None = None
    origin: Origin | None = None
    serve_raw: bool | None = None
    thickness_mm: float | None = None
    celsius: float | None = None
    kilograms: float | None = None
    supplier: str | None = None
    supplier_reference: str | None = None
    statement: str | None = None
    rop: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachStatement(Entry):
    """A supplier's written statement was put on file for a lot."""

    lot: LotId
    reference: str
    states: States
    file: str = ""
    """Name of the file that was attached; empty: it is kept on paper."""
    sha256: str = ""
    """SHA-256 of the file's bytes, in lower-case hexadecimal: under it the copy is kept."""
    option: Option | None = None
    """The freezing that it states, where it is one of the options."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartFreezing(Entry):
    """A lot was put into a freezer for parasite destruction by an option."""

    lot: LotId
    unit: UnitId
    option: Option
    needed_by_ms: int | None = None
    """When the shop wants it ready; None: it has no date."""
    probe: ProbeId | None = None
    """The product probe that was put into this very lot; None: none is known to lie in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartThawing(Entry):
    """A lot was put into a refrigerated unit to thaw (Food Code 3-501.13)."""

    lot: LotId
    unit: UnitId


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
class CancelEntry(Entry):
    """An entry about a lot should never have been made. It stays on the books, crossed out."""

    number: int
    """The ``entry_number`` of the entry that does not count any more."""
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledge(Entry):
    """Somebody has seen an alarm and is acting. ``unit`` None: an alarm over several units."""

    unit: UnitId | None
    rule: Rule
    back_within_min: float | None = None
    """Minutes within which they promised to see to it; None: they promised nothing. Still so
    after that, the alarm opens again."""
    alarm: str = ""
    """The very alarm that they saw, by its id; empty: whatever alarm is on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelve(Entry):
    """An alarm is put aside for some minutes, never for ever."""

    unit: UnitId | None
    rule: Rule
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Unshelve(Entry):
    """An alarm is taken from its shelf before the shelf ends; what is still so is told."""

    unit: UnitId | None
    rule: Rule


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


@dataclass(frozen=True, slots=True, kw_only=True)
class StartCooling(Entry):
    """A batch of food was put into a unit to cool, with the product probe in it."""

    unit: UnitId
    food: CoolingFood = CoolingFood.COOKED
    lot: LotId | None = None
    """The lot it was made of, where there is one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndCooling(Entry):
    """The batch that cooled in a unit was taken out, or the probe was."""

    unit: UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class StartTimeControl(Entry):
    """Food left temperature control against a timer (3-501.19): a whole unit's, or one lot."""

    hours: int
    """4 or 6, by the paragraph that was chosen."""
    unit: UnitId | None = None
    lot: LotId | None = None
    celsius: float | None = None
    """Its warmest portion as it left control; None: the unit's reading counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndTimeControl(Entry):
    """What was under the timer is gone: served, cooked or discarded."""

    unit: UnitId | None = None
    lot: LotId | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationCheck(Entry):
    """A probe was checked against a reference, in melting ice or beside a thermometer."""

    probe: ProbeId
    found_c: float
    """How far off it was, °C: what it said less what was true."""
    reference: str = ""
    """What it was checked against: the ice bath, a thermometer's name or number."""
    offset_c: float | None = None
    """Offset for its readings from now on, °C, in place of any before; None: it stays."""

    @property
    def from_ms(self) -> int:
        """From when on a new offset holds: when it was entered, never before."""
        return self.at_ms if self.entered_ms is None else max(self.at_ms, self.entered_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class RetryQuarantine(Entry):
    """The configuration was mended: what is kept in quarantine is to be read once more."""


LotEntry = (
    ReceiveLot | CorrectLot | AttachStatement | StartFreezing | StartThawing | MoveLot | WithdrawLot
)
"""The entries that name a lot."""

AnyEntry = (
    LotEntry
    | CancelEntry
    | Acknowledge
    | Shelve
    | Unshelve
    | OutOfService
    | InService
    | CorrectiveAction
    | StartCooling
    | EndCooling
    | StartTimeControl
    | EndTimeControl
    | CalibrationCheck
    | RetryQuarantine
)
