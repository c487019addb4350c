"""Levels that a temperature is watched against, and what is remembered of each.

Two kinds. An *excursion* opens above a limit and closes below the limit less a
deadband; a gap in the readings counts neither for nor against it. A *hold* is the
cold of a freezing option: it is lost above its level, and a gap loses it as well,
since missing data is never cold. Pure values.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

from rimewatch.science.lag_run import Lagging


class WatchKind(StrEnum):
    """How gaps and the closing level are treated."""

    EXCURSION = "excursion"
    HOLD = "hold"


class BreakReason(StrEnum):
    """Why the cold of a hold was lost."""

    WARM = "warm"
    GAP = "gap"


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """One level to watch."""

    name: str
    """A rule's name (``holding``), or ``hold:-20`` and the like."""
    kind: WatchKind
    open_above_c: float
    close_below_c: float
    on_delay_ms: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """An unbroken time beyond a level: an excursion, or an interruption of the cold."""

    watch: str
    start_ms: float
    end_ms: float | None
    """None: it lasts."""
    gap_ms: float
    peak_c: float
    sustained_ms: float | None
    """When it had been open for the on-delay, of monitored time; None: it was not."""
    reason: BreakReason = BreakReason.WARM
    above: tuple[tuple[float, float], ...] = ()
    """The monitored times above the opening level so far, as (start, end)."""
    above_since_ms: float | None = None
    """Since when it is above the opening level again; None: it is not."""

    @property
    def above_ms(self) -> float:
        """Monitored time above the opening level."""
        return sum(end - start for start, end in self.above)


def with_peak(spell: Spell, peak_c: float) -> Spell:
    """Return a spell with another peak: written out, since rising air asks for it all the time."""
    return Spell(
        watch=spell.watch,
        start_ms=spell.start_ms,
        end_ms=spell.end_ms,
        gap_ms=spell.gap_ms,
        peak_c=peak_c,
        sustained_ms=spell.sustained_ms,
        reason=spell.reason,
        above=spell.above,
        above_since_ms=spell.above_since_ms,
    )


def raised(spells: tuple[Spell | None, ...], highest_c: float) -> tuple[Spell | None, ...]:
    """Return spells with the peaks that a higher temperature gives those that are open."""
    return tuple(
        spell if spell is None or highest_c <= spell.peak_c else with_peak(spell, highest_c)
        for spell in spells
    )


def earlier(spell: Spell, by_ms: float) -> Spell:
    """Return a spell as it is by a clock that was set back by so much.

    >>> spell = Spell(watch="holding", start_ms=5e3, end_ms=None, gap_ms=0, peak_c=7.0,
    ...               sustained_ms=None, above_since_ms=5e3)
    >>> earlier(spell, 2e3).start_ms
    3000.0
    """

    def back(at_ms: float | None) -> float | None:
        return None if at_ms is None else at_ms - by_ms

    return replace(
        spell,
        start_ms=spell.start_ms - by_ms,
        end_ms=back(spell.end_ms),
        sustained_ms=back(spell.sustained_ms),
        above=tuple((start - by_ms, end - by_ms) for start, end in spell.above),
        above_since_ms=back(spell.above_since_ms),
    )


@dataclass(frozen=True, slots=True)
class ChannelSettings:
    """How one governing probe is folded."""

    lag_s: float
    stale_ms: float
    watches: tuple[Watch, ...]


class ChannelState(NamedTuple):
    """All that the fold remembers: survives a JSON round trip exactly."""

    lag: Lagging | None = None
    """The last reading, and where the fish stands at it; None before the first reading."""
    open: tuple[Spell | None, ...] = ()
    """For each watch, the spell that is open."""

    @property
    def last_ms(self) -> int | None:
        """The time of the last reading."""
        return None if self.lag is None else self.lag.last_ms

    @property
    def measured_c(self) -> float:
        """The last reading; 0 before the first."""
        return 0.0 if self.lag is None else self.lag.measured_c

    @property
    def governing_c(self) -> float:
        """The fish's temperature at it; 0 before the first."""
        return 0.0 if self.lag is None else self.lag.governing_c
