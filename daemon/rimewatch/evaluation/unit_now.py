"""How a unit stands now, as its governing probes have it: one value for every surface. Pure.

A word is of what the probes measured, and no verdict on the fish. What was not measured
lately is never called cold.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from rimewatch.evaluation.channels import limit_rule
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.track import Track
from rimewatch.rules.condition import AlarmKey
from rimewatch.rules.habits import Defrosts
from rimewatch.rules.watch import Spell
from rimewatch.shop import Unit
from rimewatch.vocabulary import ProbeId, Rule, UnitId


class UnitState(StrEnum):
    """How a unit stands, the gravest first."""

    WARM = "warm"
    SILENT = "silent"
    UNHEARD = "unheard"
    EARLY = "early"
    HELD = "held"
    OUT = "out"


@dataclass(frozen=True, slots=True)
class Bucket:
    """The lowest and the highest fish temperature within some minutes."""

    at_ms: int
    low_c: float
    high_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitNow:
    """One unit as its governing probes have it; the warmest of them speaks."""

    unit: UnitId
    probe: ProbeId | None = None
    """The probe that speaks; None: none ever did."""
    fish_c: float | None = None
    at_ms: int | None = None
    """When its last reading was taken."""
    stale_ms: float = float("inf")
    air_c: float | None = None
    """The air as it was last measured, where somebody looked."""
    over: Spell | None = None
    """The excursion beyond the critical limit that is open."""
    early: Spell | None = None
    """The same for the operating limit."""
    last_over_ms: float | None = None
    """When the last excursion beyond the critical limit ended; None: none is on the books."""
    watched_from_ms: int | None = None
    """The first reading on the books."""
    out_of_service: bool = False
    silent_probes: tuple[ProbeId, ...] = ()
    """Governing probes whose last reading was long ago, as the alarms know it."""
    spells: tuple[Spell, ...] = ()
    """The latest excursions that are over, newest first."""
    defrosts: Defrosts | None = None
    """What its air has shown of its defrosts; None: not enough."""
    curve: tuple[Bucket, ...] = ()
    """Half a day, in order, where somebody drew it; buckets without a reading are left out."""

    def state(self, at_ms: int) -> UnitState:
        """Return how it stands at an instant."""
        if self.out_of_service:
            return UnitState.OUT
        if self.at_ms is None:
            return UnitState.UNHEARD
        if self.over is not None:
            return UnitState.WARM
        if self.silent_probes or at_ms - self.at_ms > self.stale_ms:
            return UnitState.SILENT
        return UnitState.EARLY if self.early is not None else UnitState.HELD


def unit_now(evaluator: Evaluator, unit: Unit, spells: Sequence[Spell] | None = None) -> UnitNow:
    """Return how a unit stands by what an evaluator knows.

    Args:
        evaluator: Followed up to now.
        unit: The unit.
        spells: Its latest excursions that are over, newest first, where somebody has them
            already; None: they are looked for here.
    """
    out = unit.id in evaluator.alarms.out_of_service
    tracks = tracks_of(evaluator, unit)
    heard = [track for track in tracks if track.state.last_ms is not None]
    if not heard:
        return UnitNow(unit=unit.id, out_of_service=out)
    stale = AlarmKey(unit=unit.id, rule=Rule.STALE) in evaluator.alarms.conditions
    warmest = max(heard, key=lambda track: track.state.governing_c)
    limit = limit_rule(unit)
    if spells is None:
        spells = [spell for track in heard for spell in ended_spells(track)]
    ended = [s.end_ms for s in spells if s.watch == limit.value and s.end_ms is not None]
    return UnitNow(
        unit=unit.id,
        probe=warmest.probe.id,
        fish_c=warmest.state.governing_c,
        at_ms=warmest.state.last_ms,
        stale_ms=warmest.settings.stale_ms,
        over=_open(heard, limit),
        early=_open(heard, Rule.OPERATING_LIMIT),
        last_over_ms=max(ended, default=None),
        watched_from_ms=min(t.first_ms for t in heard if t.first_ms is not None),
        out_of_service=out,
        silent_probes=tuple(
            track.probe.id
            for track in tracks
            if stale and evaluator.now_ms - (track.state.last_ms or 0) > track.settings.stale_ms
        ),
        spells=tuple(spells),
        defrosts=evaluator.defrosts(unit.id),
    )


def tracks_of(evaluator: Evaluator, unit: Unit) -> list[Track]:
    """Return what is followed of a unit's governing probes."""
    return [track for track in evaluator.tracks.values() if track.unit.id == unit.id]


def ended_spells(track: Track) -> Iterator[Spell]:
    """Yield a probe's excursions beyond a limit that are over, newest first."""
    watches = (limit_rule(track.unit).value, Rule.OPERATING_LIMIT.value)
    return (spell for spell in reversed(track.ended) if spell.watch in watches)


def _open(tracks: Sequence[Track], rule: Rule) -> Spell | None:
    spells = [spell for track in tracks if (spell := track.open_spell(rule.value)) is not None]
    if not spells:
        return None
    first = min(spells, key=lambda spell: spell.start_ms)
    return next((spell for spell in spells if spell.sustained_ms is not None), first)
