"""What stands on a lot's own record: what it is, how cold it was, how that was measured.

Data alone, gathered elsewhere and laid out elsewhere. Pure: no clock, no I/O. Instants are
milliseconds UTC, temperatures °C.

References:
    [1] FDA Food Code 2022, 3-402.12(A): the record names the temperature to which the fish
        was frozen and the time for which it was kept so.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.entries import (
    AnyEntry,
    CalibrationCheck,
    CancelEntry,
)
from rimewatch.lots.hold import Break
from rimewatch.rules.provision import FOOD_CODE, FOOD_CODE_EDITION
from rimewatch.vocabulary import Measures, Option, ProbeId, UnitId

EU_FREEZING: Final = (
    "Regulation (EC) 853/2004, Annex III, Section VIII, Chapter III, D, as replaced by "
    "Regulation (EU) 1276/2011"
)
PROVISION_OF: Final[dict[Option, str]] = {
    Option.F20C_168H: f"{FOOD_CODE} {FOOD_CODE_EDITION}, 3-402.11(A)(1)",
    Option.F35C_15H: f"{FOOD_CODE} {FOOD_CODE_EDITION}, 3-402.11(A)(2)",
    Option.F35C_THEN_20C_24H: f"{FOOD_CODE} {FOOD_CODE_EDITION}, 3-402.11(A)(3)",
    Option.F20C_24H: EU_FREEZING,
}
"""Where each freezing option stands."""


class Proof(StrEnum):
    """Why a lot may be served raw, as far as parasites go."""

    OWN_FREEZING = "own-freezing"
    """A hold in this shop's freezers, complete: Food Code 3-402.12(A)."""
    SUPPLIER_FREEZING = "supplier-freezing"
    """The supplier's written statement in place of it: Food Code 3-402.12(B)."""
    EXEMPTION = "exemption"
    """Exempt: Food Code 3-402.11(B)."""


class Evidence(StrEnum):
    """What a governing temperature rests on."""

    CENTRE_PROBE = "centre-probe"
    """A product probe: it lies in a product of the unit, which need not be this lot."""
    BUFFERED_AIR = "buffered-air"
    """An air probe seen through the unit's time constant, as fish follows the air."""
    AIR = "air"
    """The air as it was measured."""


class Doubt(StrEnum):
    """Why less of a hold is sure than is credited."""

    SILENCE = "silence"
    """Nobody saw how warm the air was before its count began, and fish follows it slowly."""
    INSIDE = "inside"
    """No probe is known to have shown the inside of this lot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A stretch of a lot's life."""

    unit: UnitId | None
    """None: it was not in a unit yet."""
    from_ms: float
    to_ms: float
    lasts: bool
    """Whether it still is there."""
    min_c: float | None
    max_c: float | None
    mean_c: float | None
    """Governing temperatures; None: nothing was measured."""
    limit_c: float | None
    """The unit's critical limit."""
    above_limit_s: float
    unmonitored_s: float
    ice_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UseBy:
    """The shop's own use-by of a lot. It says nothing of safety."""

    limit_ice_days: float
    """What the shop allows this fish, in days on melting ice."""
    at_c: float | None
    """The governing temperature it is kept at now; None: nobody measures it."""
    use_by_ms: int | None
    """When that is used up if it stays at that temperature; None: it cannot be told, since
    nobody measures it or it is frozen or warm, outside the range of the model."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeUsed:
    """A probe that spoke for a lot in its hold, and how far it can be trusted."""

    probe: ProbeId
    unit: UnitId
    measures: Measures
    evidence: Evidence
    lag_s: float
    uncertainty_c: float
    """Subtracted from the option's line: the guard band (JCGM 106:2012, 8.3)."""
    offset_c: float
    check: CalibrationCheck | None = None
    """Its last check before the hold's end, or else the first since; None: none is on record."""
    in_lot: bool = False
    """Whether it was entered that this product probe lies in this very lot."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HoldCurve:
    """The governing temperature along a hold; a gap is where times are far apart."""

    times_ms: NDArray[np.float64]  # (n_points,)
    values_c: NDArray[np.float64]  # (n_points,)
    breaks_after: NDArray[np.bool_]  # (n_points,) whether the line ends at a point
    line_c: float
    """The option's temperature."""
    guarded_c: float
    """The same less the largest uncertainty: what a reading must show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRecord:
    """A freezing hold, as its record must tell it [1]."""

    option: Option
    line_c: float
    required_h: float
    credited_h: float
    begun_ms: int
    """When the lot was put into the freezer for it."""
    started_ms: float | None
    completed_ms: float | None
    expected_ms: float | None
    needed_by_ms: int | None
    warmest_c: float | None
    """The warmest governing temperature while the hours were counted."""
    warmest_guarded_c: float | None
    """The same with the probe's uncertainty on top: what was held against the line."""
    sure_h: float
    """Of the hours, those that stand whatever was not seen: warmth in a silence before them, or
    this lot's inside."""
    doubts: tuple[Doubt, ...]
    """Why these are fewer than were credited; empty: they are not."""
    sure_by_ms: float | None
    """When all of them do, if it stays as cold; None: all stand, or the cold is gone."""
    lead_h: float | None
    """Hours of cold before the count began, until the fish was cold enough inside; None: the
    option does not ask for it, or a probe showed the centre."""
    thickness_mm: float | None
    """What that was estimated from; None: it was not measured."""
    probes: tuple[ProbeUsed, ...]
    interruptions: tuple[Break, ...]
    curve: HoldCurve | None

    @property
    def is_sure(self) -> bool:
        """Whether all that was credited is sure."""
        return self.sure_h >= self.credited_h


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One thing said at receipt that was corrected."""

    what: str
    before: object
    after: object


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryLine:
    """An entry as the record shows it, also one that does not count any more."""

    entry: AnyEntry
    corrections: tuple[Correction, ...] = ()
    cancelled_by: CancelEntry | None = None
