"""What a morning summary tells of: a ledger's values, and what is found in them. Pure values."""

from dataclasses import dataclass
from enum import StrEnum
from zoneinfo import ZoneInfo

from rimewatch.alarms.alarm import Alarm
from rimewatch.entries import CorrectiveAction
from rimewatch.evaluation.batches import CoolingRecord, TimerRecord
from rimewatch.evaluation.door import Refusal
from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.ledger import ProbeAccount, UnitAccount
from rimewatch.evaluation.lot_account import LotAccount
from rimewatch.evaluation.lot_story import LotStory
from rimewatch.evaluation.quarantine_tally import QuarantineKind
from rimewatch.evaluation.settings import Change
from rimewatch.lots.hold import Break
from rimewatch.report import wording
from rimewatch.report.curve import Curve
from rimewatch.report.lot_standing import LotWords
from rimewatch.shop import Unit
from rimewatch.vocabulary import Scale, UnitId


class State(StrEnum):
    """What the readings say about a unit. None of these is a verdict on the fish."""

    HELD = "held"
    """Watched all the time, and the fish never beyond its limit."""
    NOT_PROVEN = "not-proven"
    """Not beyond the limit where measured, but not measured all the time."""
    WARM = "warm"
    """The fish went beyond the limit."""
    UNWATCHED = "unwatched"
    """Not one reading."""
    OUT_OF_SERVICE = "out-of-service"
    """Taken out of service by somebody, all of the time: no fish is said to be in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitFacts:
    """One unit over the time of the summary."""

    account: UnitAccount
    state: State
    has_product_probe: bool
    curve: Curve | None
    stale_s: float | None
    """Points of the curve further apart are not joined; None: unknown."""
    probe: str = ""
    """The probe whose figures these are, where several speak for the unit's fish."""
    checked: tuple[tuple[int, str], ...] = ()
    """When the probe whose figures these are was checked, and against what."""

    @property
    def unit(self) -> Unit:
        """The unit."""
        return self.account.unit

    @property
    def name(self) -> str:
        """The unit's name on one line."""
        return wording.unit_name(self.account.unit)

    @property
    def has_chart(self) -> bool:
        """Whether there is a curve to draw."""
        return self.curve is not None and len(self.curve.times_ms) > 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LotFacts:
    """One lot, what may be said of it, and what is new in the time of the summary."""

    account: LotAccount
    words: LotWords
    completed_now: bool
    """Its hold was completed within the time."""
    set_back: tuple[Break, ...]
    """Interruptions within the time."""

    @property
    def story(self) -> LotStory:
        """The lot, judged."""
        return self.account.story

    @property
    def name(self) -> str:
        """Its number on one line."""
        return wording.printable(str(self.account.story.lot))

    @property
    def species(self) -> str:
        """What it is, as it was entered; empty: nobody has."""
        received = self.account.story.entries.received
        return "" if received is None else wording.printable(received.species)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldAlarm:
    """An alarm, who was told of it, and when."""

    alarm: Alarm
    told_first: tuple[tuple[int, str], ...]
    """When each contact was first told, and the contact's name, in order."""
    told: int
    """Messages sent about it before it was answered or returned."""
    not_reached: tuple[tuple[str, str], ...] = ()
    """Contacts who were to be told and whom no message has reached, and what was said of it."""

    @property
    def answered_after_ms(self) -> int | None:
        """From the first message, or else the raising, to the answer; None: nobody answered."""
        if self.alarm.answered_ms is None:
            return None
        since_ms = self.told_first[0][0] if self.told_first else self.alarm.raised_ms
        return max(0, self.alarm.answered_ms - since_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Todo:
    """One thing to do today."""

    text: str
    unit: UnitId | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """The time a summary speaks of."""

    from_ms: int
    to_ms: int
    clock_change_ms: int | None

    def holds(self, at_ms: int) -> bool:
        """Whether an instant lies in it."""
        return self.from_ms <= at_ms <= self.to_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Everything a morning summary says, before anybody lays it out.

    Texts of people and of strangers are on one line each, with no sign that is not printed.
    """

    shop_name: str
    scale: Scale
    zone: ZoneInfo
    period: Period
    state: State
    verdict: tuple[str, ...]
    """The first line, sentence by sentence, the gravest first."""
    todos: tuple[Todo, ...]
    units: tuple[UnitFacts, ...]
    excursions: tuple[Excursion, ...]
    lots: tuple[LotFacts, ...]
    probes: tuple[ProbeAccount, ...]
    quarantined: int
    quarantine: tuple[QuarantineKind, ...]
    alarms: tuple[ToldAlarm, ...]
    actions: tuple[CorrectiveAction, ...]
    cooling: tuple[CoolingRecord, ...] = ()
    timed: tuple[TimerRecord, ...] = ()
    on_call: tuple[str, ...] = ()
    """The names of whom the summary goes to at its end, rotas resolved."""
    changes: tuple[Change, ...] = ()
    """Settings that were changed within its time."""
    refused: tuple[Refusal, ...] = ()
    """Entries that were not taken within its time."""

    @property
    def headline(self) -> str:
        """The first line as a whole."""
        return " ".join(self.verdict)
