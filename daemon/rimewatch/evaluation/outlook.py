"""Where a unit's fish is heading, as a condition of rule ``projection``. Pure.

Past its unit's limit, or before that past the temperature of a freezing option whose hold
it is in: whichever line it comes to first is the one that is foretold, one alarm a unit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log
from typing import Final

from rimewatch.alarms.consequence import lines_of
from rimewatch.evaluation.channels import hold_watch, limit_rule
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.track import Track
from rimewatch.lots.hold import STORED_AT_C, Hold
from rimewatch.rules import projection
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.power_loss import Warming
from rimewatch.rules.projection import Outlook
from rimewatch.rules.usual import Departure
from rimewatch.rules.watch import Spell
from rimewatch.shop import Unit
from rimewatch.vocabulary import MS_PER_S, LotId, Rule

S_PER_H: Final = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stake:
    """Holds of a unit that are counted now, and lost together above one temperature."""

    line_c: float
    """The option's temperature."""
    lots: tuple[LotId, ...]
    held_h: float
    """What the furthest has been credited."""
    needed_h: float


def stakes_of(holds: Mapping[LotId, Hold]) -> tuple[Stake, ...]:
    """Return what is lost with the holds of a unit, by the temperature they must not pass.

    A hold is at stake while its count runs: one that is complete, or whose cold has not
    begun or is lost already, is not.
    """
    lines: dict[float, dict[LotId, Hold]] = {}
    for lot, hold in holds.items():
        if hold.completed_ms is None and hold.credited_h > 0.0 and not _is_broken(hold):
            lines.setdefault(STORED_AT_C[hold.option], {})[lot] = hold
    stakes: list[Stake] = []
    for line_c, found in sorted(lines.items()):
        furthest = max(found.values(), key=lambda hold: hold.credited_h)
        stakes.append(
            Stake(
                line_c=line_c,
                lots=tuple(found),
                held_h=furthest.credited_h,
                needed_h=furthest.required_h,
            )
        )
    return tuple(stakes)


def _is_broken(hold: Hold) -> bool:
    return bool(hold.interruptions) and hold.interruptions[-1].end_ms is None


def outlook_of(
    store: ReadingStore, warming: Warming, track: Track, line_c: float | None = None
) -> Outlook | None:
    """Return where the fish behind a governing probe is heading; None: nothing can be said.

    Args:
        store: The readings.
        warming: The unit's air out of its band.
        track: The probe, folded up to now.
        line_c: What it may pass; None: its unit's limit.
    """
    last_ms = track.state.last_ms
    if last_ms is None:
        return None
    span = store.span(track.probe.id, warming.departure.begun_ms, last_ms)
    return projection.foresee(
        span.times_ms,
        span.values,
        fish_c=track.state.governing_c,
        lag_s=track.settings.lag_s,
        limit_c=track.unit.limit_c if line_c is None else line_c,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line before a unit's fish: its limit, or that of holds."""

    track: Track
    """The probe that is nearest to it."""
    passed_at_c: float
    """Governing temperature at which it counts as passed, the guard band included."""
    stake: Stake | None
    """None: the unit's limit."""

    @property
    def named_c(self) -> float:
        """The line as people know it, without a guard band."""
        return self.passed_at_c if self.stake is None else self.stake.line_c

    @property
    def ahead_c(self) -> float:
        """How far it is away."""
        return self.passed_at_c - self.track.state.governing_c


def nearest_line(unit: Unit, known: Sequence[Track], stakes: Sequence[Stake]) -> Line | None:
    """Return the line that a unit's fish comes to first; None: all are behind it.

    A hold is credited only where reading + uncertainty is at or below the option's
    temperature: it is lost that much earlier.
    """
    lines = [Line(track=track, passed_at_c=unit.limit_c, stake=None) for track in known] + [
        Line(track=track, passed_at_c=stake.line_c - track.probe.uncertainty_c, stake=stake)
        for track in known
        for stake in stakes
    ]
    return min(
        (line for line in lines if line.ahead_c > 0.0),
        key=lambda line: (line.ahead_c, line.stake is not None),
        default=None,
    )


def line_to_come(unit: Unit, known: Sequence[Track], stakes: Sequence[Stake]) -> Line | None:
    """Return the line that a unit's fish comes to next, past its limit too; None: none is left.

    Beyond the limit these are the published ones that an alarm's severity counts.
    """
    line = nearest_line(unit, known, stakes)
    if line is not None or not known:
        return line
    warmest = max(known, key=lambda track: track.state.governing_c)
    return next(
        (
            Line(track=warmest, passed_at_c=line_c, stake=None)
            for line_c in lines_of(unit.kind)
            if line_c > max(unit.limit_c, warmest.state.governing_c)
        ),
        None,
    )


def at_present_s(line: Line, departure: Departure) -> float:
    """Return roughly how long a unit's fish takes to a line on its present course.

    Air that warms on at its mean rate since its rise began, and fish that follows it: enough to
    say which of several comes first.
    """
    state, lag_s = line.track.state, line.track.settings.lag_s
    since_s = max(departure.last_ms - departure.begun_ms, 1) / MS_PER_S
    rate_c_per_s = max((departure.last_c - departure.usual_c) / since_s, 1e-9)
    follows_s = (line.passed_at_c - state.measured_c) / rate_c_per_s + lag_s
    pulled_c = state.measured_c - state.governing_c
    if lag_s == 0.0 or pulled_c <= line.ahead_c:
        return max(follows_s, 0.0)
    return min(max(follows_s, 0.0), -lag_s * log(1.0 - line.ahead_c / pulled_c))


def projection_condition(
    unit: Unit,
    store: ReadingStore,
    warming: Warming | None,
    tracks: Sequence[Track],
    standing: Condition | None,
    lots: tuple[LotId, ...],
    at_ms: int,
    *,
    stakes: Sequence[Stake] = (),
    hold_lost: bool = False,
    estimates: bool = True,
) -> Condition | None:
    """Return that a unit's fish is on its way past its limit or that of its hold, if it is.

    Once raised it stays while the air is out and not coming back, and while the fish is
    past what was foretold: nobody is told then that it is no longer on its way.

    Args:
        unit: The unit.
        store: The readings.
        warming: Its air out of its band; None: it is within.
        tracks: Its governing probes, folded up to now.
        standing: The projection that was so before.
        lots: Lots that stand in it.
        at_ms: The present instant.
        stakes: The holds that are counted in it.
        hold_lost: Whether a hold of it is lost at present.
        estimates: Whether to estimate anew; else what was so stays, as far as it needs none.
    """
    past = [spell for track in tracks if (spell := _past_its_limit(track)) is not None]
    if standing is not None and past:
        peak_c = max(spell.peak_c for spell in past)
        return replace(standing, time_left_s=None, lots=lots, peak_c=peak_c)
    if standing is not None and standing.held_h is not None and hold_lost:
        return replace(standing, time_left_s=None, peak_c=_peak_above_c(tracks, standing))
    known = [track for track in tracks if track.state.last_ms is not None]
    if warming is None or warming.departure.recovering or not known:
        return None
    warmest = max(known, key=lambda track: track.state.governing_c)
    if standing is None and (warming.explained or not projection.may_ask(warming.departure, at_ms)):
        return None
    line = nearest_line(unit, known, stakes)
    if warmest.state.governing_c >= unit.limit_c or line is None or not estimates:
        return standing  # the limit has an alarm of its own, and this one has told of it
    if standing is not None and (standing.held_h is None) is not (line.stake is None):
        standing = None  # it was about another line: this one must be as likely as any other
    outlook = outlook_of(store, warming, line.track, line.passed_at_c)
    if outlook is None or not _holds(outlook, warming, standing, line, at_ms):
        return None
    stake = line.stake
    return Condition(
        key=AlarmKey(unit=unit.id, rule=Rule.PROJECTION),
        since_ms=warming.departure.left_ms,
        units=(unit.id,),
        priority=outlook.priority(fish_at_stake=bool(lots)),
        limit_c=line.named_c,
        rate_c_per_h=_fish_rate_c_per_h(line.track, outlook),
        time_left_s=outlook.left_s,
        estimated_ms=at_ms,
        lots=lots if stake is None else stake.lots,
        held_h=None if stake is None else stake.held_h,
        needed_h=None if stake is None else stake.needed_h,
    )


def _holds(
    outlook: Outlook, warming: Warming, standing: Condition | None, line: Line, at_ms: int
) -> bool:
    """Whether an outlook is worth an alarm, or keeps the one there is."""
    departure, limit_c = warming.departure, line.passed_at_c
    if standing is None:
        lag_s = line.track.settings.lag_s
        return outlook.foretold and projection.is_pressing(
            outlook, departure, at_ms, limit_c=limit_c, lag_s=lag_s
        )
    # Air that stands still above the limit still draws the fish after it.
    return not outlook.dismissed or departure.last_c > limit_c


def _peak_above_c(tracks: Sequence[Track], standing: Condition) -> float | None:
    """Return the warmest that the fish was above the line of a hold that was foretold."""
    if standing.limit_c is None:
        return standing.peak_c
    watch = hold_watch(standing.limit_c)
    open_c = [spell.peak_c for track in tracks if (spell := track.open_spell(watch)) is not None]
    return max(open_c, default=standing.peak_c)


def _past_its_limit(track: Track) -> Spell | None:
    return track.open_spell(limit_rule(track.unit).value)


def _fish_rate_c_per_h(track: Track, outlook: Outlook) -> float:
    lag_s = track.settings.lag_s
    if lag_s == 0.0:
        return outlook.rate_c_per_h
    return (track.state.measured_c - track.state.governing_c) / lag_s * S_PER_H
