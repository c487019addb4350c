"""What may be said of a lot, decided once, with what it rests on. Pure values.

Reasons carry their figures; the words are made elsewhere. Gathered in
``evaluation.lot_standing``. A standing is evidence for the person in charge, never a promise.

What was found, in this order: something recorded speaks *against* the lot, whatever was
proven; it is *unproven*; it is proven or exempt and there is *doubt*; or it is *proven*. So
more reasons never make a standing better, and two accounts of one lot are put together by
taking the reasons of both.

References:
    [1] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed., chapter 7
        (from memory) and Appendix 4.
    [2] FDA Food Code 2022, 3-501.16(A)(2) and 3-501.19(B).
    [3] FDA Food Code 2022, 4-203.11, and 4-203.12 (from memory): accuracy of thermometers.
    [4] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed., chapter 13 (from
        memory): fish in reduced oxygen packaging.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar, Final, TypeVar

from rimewatch.rules.provisions_food_code import (
    AIR_THERMOMETER_ACCURACY_C,
    FOOD_THERMOMETER_ACCURACY_C,
)
from rimewatch.vocabulary import (
    MS_PER_H,
    MS_PER_MINUTE,
    Disposition,
    Measures,
    Option,
    ProbeId,
    Standing,
    UnitId,
)

LONGEST_UNSEEN_MS: Final = 30 * MS_PER_MINUTE
LARGEST_UNSEEN_SHARE: Final = 0.02
"""More unmonitored time than that, at a stretch or of a lot's life, is a doubt (our choice)."""

SHORTEST_LIFE_MS: Final = MS_PER_H
"""A share is one of at least this much time: of fish that was received a minute ago and is being
carried to its unit all of the time is unmonitored."""

ENTERED_LATE_MS: Final = 10 * MS_PER_MINUTE
"""A freezing that was entered later than this after it is said to have begun is backdated (our
choice: who carries fish enters it when the hands are free)."""

STUCK_MS: Final = 24 * MS_PER_H
"""A probe that shows one value for so long in a hold, or for all of a shorter one, does not
measure it: air in a freezer moves with every cycle (common practice, no source)."""


PACKED_WARM_S: Final = 1800.0
"""Vacuum-packed fish that was above its own line for longer than that in all is in doubt (our
choice: what carrying it and a door bring about is less)."""


class Limit(StrEnum):
    """A limit on time and temperature."""

    SCOMBROTOXIN_FRESH = "scombrotoxin-before-freezing"
    """Until it was proven frozen here, and for ever if it was not [1]."""
    SCOMBROTOXIN_FROZEN = "scombrotoxin-after-freezing"
    """After that [1]."""
    RAW_READY_TO_EAT = "raw-ready-to-eat-above-50f"
    """Raw ready-to-eat fish above 50 °F and 70 °F [1]."""
    COLD_HOLDING = "above-5c-in-all"
    """Four hours in all above 5 °C [2]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TooLongWarm:
    """It was warm for longer than guidance allows."""

    limit: Limit
    share: float
    """Of the time allowed, gaps counted at the warmer of their ends; more than 1."""
    counted_s: float
    """Monitored seconds above the limit's line."""

    @property
    def name(self) -> str:
        """Its stable name."""
        return self.limit.value


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceivedTooWarm:
    """It came in warmer than it may be received (Food Code 3-202.11(A), (B))."""

    name: ClassVar[str] = "received-too-warm"
    celsius: float
    limit_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ToxicRaw:
    """Its species is never to be served raw, or the name may mean such a one."""

    name: ClassVar[str] = "toxic-raw"
    species: str
    """As records show it."""
    toxin: str
    note: str
    """What the catalogue knows of it."""
    is_certain: bool
    """Whether the name means that species alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disposed:
    """Somebody wrote down that it was discarded, or used cooked."""

    disposition: Disposition
    at_ms: int

    @property
    def name(self) -> str:
        """Its stable name."""
        return self.disposition.value


Against = TooLongWarm | ReceivedTooWarm | ToxicRaw | Disposed
"""What speaks against serving a lot raw, whatever was proven."""


class Lack(StrEnum):
    """What a lot's proof lacks."""

    NOT_RECEIVED = "nobody entered what it is"
    NOT_SERVED_RAW = "not to be served raw"
    RECEIVED_AGAIN = "received again"
    NOT_BY_THIS_CODE = "freezing that is no proof under the shop's code"
    NO_HOLD = "no hold"
    HOLD_INCOMPLETE = "hold not complete"


@dataclass(frozen=True, slots=True, kw_only=True)
class Unmonitored:
    """Nobody watched it for too long at a stretch, or for too large a part of its time."""

    name: ClassVar[str] = "unmonitored"
    longest_s: float
    total_s: float
    share: float
    """Of the lot's time from its receipt, 0 to 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmUnseen:
    """With what nobody saw, a limit on time in the warm may have been passed."""

    name: ClassVar[str] = "warm-unseen"
    limit: Limit
    share: float
    """Of the time allowed, if all unmonitored time was above the limit's line; more than 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FailedCheck:
    """A probe that spoke for it was found off, and was good neither before nor after [3]."""

    name: ClassVar[str] = "failed-check"
    probe: ProbeId
    at_ms: int
    found_c: float
    allowed_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stuck:
    """A probe showed one value for too long in its hold."""

    name: ClassVar[str] = "stuck"
    probe: ProbeId
    value_c: float
    from_ms: float
    to_ms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SilenceAfterSolid:
    """Nobody watched between the moment it was solid and the end of its hold."""

    name: ClassVar[str] = "silence-after-solid"
    from_ms: float
    to_ms: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SilenceBeforeCount:
    """Warmth in a silence before the count could still be felt after it began."""

    name: ClassVar[str] = "silence"
    sure_h: float
    required_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class InsideUnseen:
    """No probe is known to lie in it, where the option asks how cold its inside is."""

    name: ClassVar[str] = "inside"
    option: Option
    thickness_known: bool
    beside_product_probe: bool
    sure_h: float
    required_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Backdated:
    """The start of its freezing was entered long after it is said to have been."""

    name: ClassVar[str] = "backdated"
    at_ms: int
    entered_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PackedWarm:
    """In its vacuum pack it was above the line that chilled fish packed so is kept at [4]."""

    name: ClassVar[str] = "packed-above-38f"
    above_s: float
    """Seconds above the line, gaps counted at the warmer of their ends."""
    share: float
    """Of the time that Table A-2 allows for *C. botulinum* type E; information, no limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PerhapsDisposed:
    """It may have been discarded or used cooked: somebody wrote something of the kind.

    Fish of its unit was, and no lot was named; or the words about this lot have it, and no
    disposition was given.
    """

    name: ClassVar[str] = "perhaps-disposed"
    disposition: Disposition
    unit: UnitId
    at_ms: int
    is_named: bool = False
    """Whether the lot was named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsigned:
    """Nobody put a name to a correction that betters what is said of it."""

    name: ClassVar[str] = "unsigned-correction"
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceCorrected:
    """Somebody said later that a probe had been in another unit, and nobody confirmed it."""

    name: ClassVar[str] = "place-corrected"
    probe: ProbeId
    was: UnitId
    unit: UnitId
    at_ms: int
    """When that was entered."""
    number: int
    """The entry."""
    is_late: bool
    """Whether the lot was gone by then: that betters nothing of it, whoever confirms it."""


Doubt = (
    PlaceCorrected
    | Unmonitored
    | WarmUnseen
    | FailedCheck
    | Stuck
    | SilenceAfterSolid
    | SilenceBeforeCount
    | InsideUnseen
    | Backdated
    | PackedWarm
    | PerhapsDisposed
    | Unsigned
)
"""Where the evidence has a hole, or was put in question later."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What may be said of a lot, and why."""

    against: tuple[Against, ...] = ()
    lacks: tuple[Lack, ...] = ()
    doubts: tuple[Doubt, ...] = ()

    @property
    def standing(self) -> Standing:
        """The gravest of what was found.

        >>> Judgement(lacks=(Lack.NO_HOLD,)).standing.value
        'unproven'
        """
        if self.against:
            return Standing.AGAINST
        if self.lacks:
            return Standing.UNPROVEN
        return Standing.DOUBT if self.doubts else Standing.PROVEN

    @property
    def is_proven(self) -> bool:
        """Whether it alone may bear a sign that says so."""
        return self.standing is Standing.PROVEN

    def is_better_than(self, other: "Judgement") -> bool:
        """Whether its standing is the better one.

        >>> Judgement().is_better_than(Judgement(lacks=(Lack.NO_HOLD,)))
        True
        """
        return _FROM_THE_BEST.index(self.standing) < _FROM_THE_BEST.index(other.standing)

    def with_reasons_of(self, other: "Judgement") -> "Judgement":
        """Return one with the reasons of both, its own first: never better than either.

        Of reasons that say the same with other figures, its own is kept.
        """
        return Judgement(
            against=(*self.against, *_new(other.against, self.against)),
            lacks=(*self.lacks, *(lack for lack in other.lacks if lack not in self.lacks)),
            doubts=(*self.doubts, *_new(other.doubts, self.doubts)),
        )


_FROM_THE_BEST: Final = tuple(Standing)

NOTHING_KNOWN: Final = Judgement(lacks=(Lack.NOT_RECEIVED,))
"""Of a lot that nobody has described."""

_Reason = TypeVar("_Reason", Against, Doubt)


def _new(more: tuple[_Reason, ...], known: tuple[_Reason, ...]) -> tuple[_Reason, ...]:
    names = {reason.name for reason in known}
    return tuple(reason for reason in more if reason.name not in names)


def allowed_error_c(measures: Measures, uncertainty_c: float) -> float:
    """Return by how much a check may find a probe off before it has failed, °C.

    Its stated uncertainty, since a hold's guard band rests on it (JCGM 106:2012, 8.3), and at
    most what the Food Code asks of a thermometer of its kind [3].

    >>> allowed_error_c(Measures.AIR, 0.3), allowed_error_c(Measures.PRODUCT, 2.0)
    (0.3, 1.0)
    """
    is_product = measures is Measures.PRODUCT
    code_c = FOOD_THERMOMETER_ACCURACY_C if is_product else AIR_THERMOMETER_ACCURACY_C
    return min(uncertainty_c, code_c)
