"""What people enter: lots received, frozen and moved; alarms acknowledged; what was done.

Entries are append-only: a correction is a further entry. Pure values. Here, and nowhere else,
stands what an entry may hold: its name (``do``), its fields, their kinds and bounds. The models
that check what comes from outside (``rimewatch.intake.entries``) and the JSON of the journal
(``rimewatch.journal.entry_codec``) are made from it, by ``rimewatch.entry_keys``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Annotated, ClassVar, Final, Literal, get_args

from rimewatch.entry_keys import DOCUMENT, INSTANT, Many, Number, Text
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

_ID: Final = Text(least=1, longest=200)
Lot = Annotated[LotId, _ID]
Place = Annotated[UnitId, _ID]
Sensor = Annotated[ProbeId, _ID]
Word = Annotated[str, _ID]
"""A name: never empty."""
Short = Annotated[str, Text(longest=200)]
Prose = Annotated[str, Text(longest=4000)]
Reason = Annotated[str, Text(least=1, longest=4000)]
Instant = Annotated[int, INSTANT]
Millimetres = Annotated[float, Number(over=0, most=2000)]
Kilograms = Annotated[float, Number(over=0, most=100_000)]
Measured = Annotated[float, Number(least=-100, most=60)]
"""°C of fish that came in."""
Degrees = Annotated[float, Number(least=-100, most=100)]


class Judged(StrEnum):
    """What an entry can change of what is concluded now; the ledger asks every entry anyway."""

    NOTHING = "nothing"
    LOTS = "lots"
    """Which lots there are, where they lie, what is held, and what may be said of them."""
    COOLING = "cooling"
    """Which batches cool."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Something a person did, and when."""

    do: ClassVar[str]
    """Its name in the contract."""
    one_of: ClassVar[tuple[str, ...]] = ()
    """Keys of which exactly one is given; empty: there is no such choice."""
    judged_anew: ClassVar[Judged] = Judged.NOTHING
    """What has to be judged anew once it is taken."""

    at_ms: int
    who: Short = ""
    entered_ms: Instant | None = None
    """When it was entered, where that was not at once; None: at ``at_ms``."""
    entry_number: int = field(default=0, compare=False)
    """Which entry it is, counted from 1 in the order they came; 0: not on the books yet.
    It is given by who keeps the books and is no part of what the person said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiveLot(Entry):
    """A lot came in. ``celsius`` is the temperature measured at receipt."""

    do: ClassVar[str] = "receive-lot"
    judged_anew = Judged.LOTS
    lot: Lot
    species: Word
    origin: Origin
    serve_raw: bool
    thickness_mm: Millimetres | None = None
    celsius: Measured | None = None
    kilograms: Kilograms | None = None
    supplier: Prose = ""
    supplier_reference: Prose = ""
    statement: Prose = ""
    """Reference of the supplier's written statement, where there is one."""
    rop: bool = False
    """Whether it came in reduced oxygen packaging (vacuum-packed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectLot(Entry):
    """What was said of a lot at its receipt was wrong. None: that was right, and stays."""

    do: ClassVar[str] = "correct-lot"
    judged_anew = Judged.LOTS
    lot: Lot
    reason: Reason
    species: Word | None = None
    origin: Origin | None = None
    serve_raw: bool | None = None
    thickness_mm: Millimetres | None = None
    celsius: Measured | None = None
    kilograms: Kilograms | None = None
    supplier: Prose | None = None
    supplier_reference: Prose | None = None
    statement: Prose | None = None
    rop: bool | None = None
    confirms_start: bool = False
    """Whether it says that its freezing did begin when it was entered to have, though that was
    entered long after."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachStatement(Entry):
    """A supplier's written statement was put on file for a lot."""

    do: ClassVar[str] = "attach-statement"
    judged_anew = Judged.LOTS
    lot: Lot
    reference: Word
    states: States
    file: Annotated[str, Text(longest=255)] = ""
    """Name of the file that was attached; empty: it is kept on paper."""
    sha256: Annotated[str, Text(pattern="^([0-9a-f]{64})?$", is_stripped=False)] = ""
    """SHA-256 of the file's bytes, in lower-case hexadecimal: under it the copy is kept."""
    option: Option | None = None
    """The freezing that it states, where it is one of the options."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartFreezing(Entry):
    """A lot was put into a freezer for parasite destruction by an option."""

    do: ClassVar[str] = "start-freezing"
    judged_anew = Judged.LOTS
    lot: Lot
    unit: Place
    option: Option
    needed_by_ms: Instant | None = None
    """When the shop wants it ready; None: it has no date."""
    probe: Sensor | None = None
    """The product probe that was put into this very lot; None: none is known to lie in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartThawing(Entry):
    """A lot was put into a refrigerated unit to thaw (Food Code 3-501.13)."""

    do: ClassVar[str] = "start-thawing"
    judged_anew = Judged.LOTS
    lot: Lot
    unit: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveLot(Entry):
    """A lot was put into another unit."""

    do: ClassVar[str] = "move-lot"
    judged_anew = Judged.LOTS
    lot: Lot
    unit: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class WithdrawLot(Entry):
    """A lot left: sold out, used cooked, or discarded."""

    do: ClassVar[str] = "withdraw-lot"
    judged_anew = Judged.LOTS
    lot: Lot
    reason: Prose = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CancelEntry(Entry):
    """An entry about a lot should never have been made. It stays on the books, crossed out."""

    do: ClassVar[str] = "cancel-entry"
    judged_anew = Judged.LOTS
    number: Annotated[int, Number(least=1)]
    """The ``entry_number`` of the entry that does not count any more."""
    reason: Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledge(Entry):
    """Somebody has seen an alarm and is acting. ``unit`` None: an alarm over several units."""

    do: ClassVar[str] = "acknowledge"
    unit: Place | None
    rule: Rule
    back_within_min: Annotated[float, Number(over=0, most=LONGEST_PROMISE_MINUTES)] | None = None
    """Minutes within which they promised to see to it; None: they promised nothing. Still so
    after that, the alarm opens again."""
    alarm: Annotated[str, Text(longest=200, is_stripped=False)] = ""
    """The very alarm that they saw, by its id; empty: whatever alarm is on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelve(Entry):
    """An alarm is put aside for some minutes, never for ever."""

    do: ClassVar[str] = "shelve"
    unit: Place | None
    rule: Rule
    minutes: Annotated[float, Number(over=0, most=LONGEST_SHELF_MINUTES)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unshelve(Entry):
    """An alarm is taken from its shelf before the shelf ends; what is still so is told."""

    do: ClassVar[str] = "unshelve"
    unit: Place | None
    rule: Rule


@dataclass(frozen=True, slots=True, kw_only=True)
class OutOfService(Entry):
    """A unit is being cleaned or is dead: it keeps its record and raises nothing."""

    do: ClassVar[str] = "out-of-service"
    unit: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class InService(Entry):
    """A unit is back in service."""

    do: ClassVar[str] = "in-service"
    unit: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectiveAction(Entry):
    """What was done about it, in the person's own words."""

    do: ClassVar[str] = "corrective-action"
    judged_anew = Judged.LOTS
    unit: Place
    text: Reason
    disposition: Disposition | None = None
    """What became of the fish; None: nobody said."""
    lots: Annotated[tuple[Lot, ...], Many(most=100)] = ()
    """The lots it was about, where they are known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartCooling(Entry):
    """A batch of food was put into a unit to cool, with the product probe in it."""

    do: ClassVar[str] = "start-cooling"
    judged_anew = Judged.COOLING
    unit: Place
    food: CoolingFood = CoolingFood.COOKED
    lot: Lot | None = None
    """The lot it was made of, where there is one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndCooling(Entry):
    """The batch that cooled in a unit was taken out, or the probe was."""

    do: ClassVar[str] = "end-cooling"
    judged_anew = Judged.COOLING
    unit: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class StartTimeControl(Entry):
    """Food left temperature control against a timer (3-501.19): a whole unit's, or one lot."""

    one_of: ClassVar[tuple[str, ...]] = ("unit", "lot")
    do: ClassVar[str] = "start-time-control"
    hours: Literal[4, 6]
    """4 or 6, by the paragraph that was chosen."""
    unit: Place | None = None
    lot: Lot | None = None
    celsius: Degrees | None = None
    """Its warmest portion as it left control; None: the unit's reading counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndTimeControl(Entry):
    """What was under the timer is gone: served, cooked or discarded."""

    one_of: ClassVar[tuple[str, ...]] = ("unit", "lot")
    do: ClassVar[str] = "end-time-control"
    unit: Place | None = None
    lot: Lot | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationCheck(Entry):
    """A probe was checked against a reference, in melting ice or beside a thermometer."""

    do: ClassVar[str] = "calibration-check"
    judged_anew = Judged.LOTS
    probe: Sensor
    found_c: Degrees
    """How far off it was, °C: what it said less what was true."""
    reference: Prose = ""
    """What it was checked against: the ice bath, a thermometer's name or number."""
    offset_c: Degrees | None = None
    """Offset for its readings from now on, °C, in place of any before; None: it stays."""

    @property
    def from_ms(self) -> int:
        """From when on a new offset holds: when it was entered, never before."""
        return self.at_ms if self.entered_ms is None else max(self.at_ms, self.entered_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class RetryQuarantine(Entry):
    """The configuration was mended: what is kept in quarantine is to be read once more."""

    do: ClassVar[str] = "retry-quarantine"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeSettings(Entry):
    """The settings are others from then on; what came before stays under those of before."""

    do: ClassVar[str] = "change-settings"
    settings: Annotated[str, DOCUMENT]
    """The whole configuration, as the file's tables in JSON. Marks stand for secrets."""
    way: Short = ""
    """By what way: the file, a command or a page; empty: nobody said."""
    reason: Prose = ""

    @property
    def from_ms(self) -> int:
        """From when on they hold: when that was entered, never before."""
        return self.at_ms if self.entered_ms is None else max(self.at_ms, self.entered_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectPlace(Entry):
    """A probe really was in another unit for some time than the settings had it in.

    Its readings of that time are that unit's. It is a doubt for the fish of both until somebody
    else confirms it.
    """

    do: ClassVar[str] = "correct-place"
    probe: Sensor
    was: Place
    """Where the settings had it."""
    unit: Place
    """Where it was."""
    from_ms: Instant
    to_ms: Instant
    reason: Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfirmPlace(Entry):
    """A second person knows that a probe was where another one said that it was."""

    do: ClassVar[str] = "confirm-place"
    judged_anew = Judged.LOTS
    number: Annotated[int, Number(least=1)]
    """The ``entry_number`` of the correction."""


LotEntry = (
    ReceiveLot | StartFreezing | MoveLot | WithdrawLot | StartThawing | AttachStatement | CorrectLot
)
"""The entries that name a lot."""

AlarmEntry = Acknowledge | Shelve | Unshelve
"""The entries about one alarm."""

AnyEntry = (
    LotEntry
    | CancelEntry
    | AlarmEntry
    | OutOfService
    | InService
    | CorrectiveAction
    | StartCooling
    | EndCooling
    | StartTimeControl
    | EndTimeControl
    | CalibrationCheck
    | RetryQuarantine
    | ChangeSettings
    | CorrectPlace
    | ConfirmPlace
)

ENTRY_CLASSES: Final[Mapping[str, type[AnyEntry]]] = MappingProxyType(
    {kind.do: kind for kind in get_args(AnyEntry)}
)
"""The class behind each of the contract's names."""
