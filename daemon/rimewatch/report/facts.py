"""What a morning summary knows: numbers and short phrases, no layout. Pure values."""

from dataclasses import dataclass
from enum import StrEnum
from zoneinfo import ZoneInfo

from rimewatch.evaluation.door import Refusal
from rimewatch.evaluation.settings import Change
from rimewatch.lots.record import Doubt, Overrun
from rimewatch.report import wording
from rimewatch.report.batch_facts import CoolingFacts, TimedFacts
from rimewatch.report.curve import Curve, Span
from rimewatch.shop import Unit
from rimewatch.vocabulary import (
    Disposition,
    LotId,
    Option,
    Priority,
    Rule,
    Scale,
    UnitId,
    Unread,
)

OpenSpan = tuple[int, int | None]
"""Start and end, milliseconds UTC; None: it lasts."""


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
class Doors:
    """How often and how long a unit's door stood open."""

    openings: int
    open_s: float
    longest_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """A corrective action, in the words of the person who took it."""

    at_ms: int
    unit: UnitId
    text: str
    who: str
    disposition: Disposition | None = None
    """What became of the fish; None: nobody said."""
    lots: tuple[LotId, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Excursion:
    """An unbroken time beyond a limit."""

    unit: UnitId
    name: str
    is_freezer: bool
    rule: Rule
    limit_c: float | None
    """The limit it went beyond; None where that is the hold's, or no longer known."""
    start_ms: int
    end_ms: int | None
    """None: still open."""
    peak_c: float
    above_s: float
    cause: str
    explanation: str
    fish_c: float | None
    found_late: bool
    alarmed: bool
    actions: tuple[Action, ...]
    probe: str = ""
    """The probe that saw it, where its unit has several that speak for the fish."""
    exposure: tuple[str, float] | None = None
    """The hazard whose allowance it used most of, and the share; None: none was touched."""
    in_service: bool = True
    """Whether the unit was in service when it began."""

    @property
    def concerns_fish(self) -> bool:
        """Whether it is the critical limit or a hold, and not an operating limit."""
        return self.rule in (Rule.HOLDING, Rule.FREEZER, Rule.HOLD_AT_RISK)

    @property
    def needs_action(self) -> bool:
        """Whether somebody has still to write down what was done (HACCP: corrective action)."""
        return self.concerns_fish and self.in_service and not self.actions


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitFacts:
    """One unit over the time of the summary."""

    unit: Unit
    state: State
    readings: int
    min_c: float | None
    max_c: float | None
    mean_c: float | None
    above_limit_s: float
    fish_above_limit_s: float
    missing_s: float
    has_product_probe: bool
    doors: Doors | None
    defrosts: int | None
    gaps: tuple[Span, ...]
    curve: Curve | None
    stale_s: float | None
    """Points of the curve further apart are not joined; None: unknown."""
    out_of_service: tuple[OpenSpan, ...] = ()
    """When somebody had taken it out of service."""
    probe: str = ""
    """The probe whose figures these are, where several speak for the unit's fish."""
    awaiting: tuple[int, ...] = ()
    """When excursions of the days before began about which nothing is written down yet."""
    checked: tuple[tuple[int, str], ...] = ()
    """When the probe whose figures these are was checked, and against what."""

    @property
    def name(self) -> str:
        """The unit's name on one line."""
        return wording.printable(self.unit.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Interruption:
    """A hold's count that ended before it was complete."""

    start_ms: int
    end_ms: int | None
    peak_c: float | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LotFacts:
    """One lot's way to being servable raw, as far as parasites are concerned."""

    lot: LotId
    needs_destruction: bool
    why: str
    option: Option | None
    state: str
    required_h: float
    credited_h: float
    started_ms: int | None
    completed_ms: int | None
    expected_ms: int | None
    """The earliest completion, if the cold holds from the summary's end on."""
    completed_now: bool
    """Completed within the time of the summary."""
    set_back: tuple[Interruption, ...]
    """Interruptions within the time of the summary."""
    ice_days: float | None
    species: str = ""
    unit: UnitId | None = None
    """Where it stands; None: nowhere yet, or the ledger does not say."""
    remaining_hazards: tuple[str, ...] = ()
    """What freezing, or an exemption from it, leaves open; a sentence each."""
    statement_missing: bool = False
    received_too_warm: bool = False
    proof: str = ""
    """What proves it: ``own-freezing``, ``supplier-freezing`` or ``exemption``; empty: nothing."""
    why_not: str = ""
    """What its proof lacks; empty: nothing, or the ledger does not say."""
    needed_by_ms: int | None = None
    is_late: bool = False
    """Whether it will not be ready by then."""
    sure_h: float | None = None
    """Of the hours credited, those that stand whatever nobody saw; None: the ledger does not
    say."""
    doubts: tuple[Doubt, ...] = (Doubt.SILENCE,)
    """What nobody saw, where fewer are sure than were credited."""
    sure_by_ms: int | None = None
    """When all of its hold does, if it stays as cold."""
    overruns: tuple[Overrun, ...] = ()
    """The cumulative limits in the warm that it went beyond."""
    instead: tuple[Option, UnitId, int] | None = None
    """For a late one, what would have it ready: an option, where, and begun by when."""

    @property
    def is_sure(self) -> bool:
        """Whether all that was credited of its hold is sure, or the ledger does not say."""
        return self.sure_h is None or self.sure_h >= self.credited_h


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeFacts:
    """A probe's health at the end of the summary's time."""

    probe: str
    unit: UnitId | None
    last_ms: int | None
    battery: float | None
    battery_low: float | None
    missing_s: float
    stale: bool
    clock_offset_s: float | None
    unread: Unread | None = None
    """Of a silent one: why the messages that arrive on its topic give no reading."""
    format: str = ""
    sends_every_s: float | None = None
    """How often it really sends, where that is more seldom than it may be silent."""
    apart_from: str = ""
    """Another air probe of its unit that is too far from it for the same air; empty: none is."""
    apart_c: float | None = None
    scale_jump_ms: int | None = None
    """When its readings last jumped as from °C to °F or back; None: they did not."""
    two_sources_ms: int | None = None
    """When its readings were last found to come from two devices; None: they were not."""

    @property
    def battery_is_low(self) -> bool:
        """Whether its battery is at or below the level the configuration names."""
        return (
            self.battery is not None
            and self.battery_low is not None
            and self.battery <= self.battery_low
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class QuarantineFacts:
    """Messages that were not believed, of one kind."""

    topic: str
    probe: str | None
    reason: str
    count: int
    payload_start: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRecord:
    """An alarm: who was told, when, and how quickly somebody answered."""

    unit: UnitId | None
    units: tuple[UnitId, ...]
    rule: Rule
    priority: Priority
    raised_ms: int
    acknowledged_ms: int | None
    returned_ms: int | None
    woke: bool
    told_first: tuple[tuple[int, str], ...]
    """When each contact was first told, and the contact's name, in order."""
    told: int
    """Messages sent about it before it was answered or returned."""
    not_reached: tuple[tuple[str, str], ...] = ()
    """Contacts who were to be told and whom no message has reached, and what was said of it."""


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Everything a morning summary says, before anybody lays it out."""

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
    probes: tuple[ProbeFacts, ...]
    quarantined: int
    quarantine: tuple[QuarantineFacts, ...]
    alarms: tuple[AlarmRecord, ...]
    actions: tuple[Action, ...]
    cooling: tuple[CoolingFacts, ...] = ()
    timed: tuple[TimedFacts, ...] = ()
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
