"""How a unit stands, in one word, with a sign of its own and for how long. Pure."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from rimewatch.alarms.alarm import Alarm
from rimewatch.evaluation.unit_now import UnitNow, UnitState
from rimewatch.report import wording
from rimewatch.report.message import Message, alarm_message
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_S, About, Scale
from rimewatch.web.live import Snapshot

WORDS = {
    UnitState.WARM: "Too warm",
    UnitState.SILENT: "Silent",
    UnitState.UNHEARD: "Not heard yet",
    UnitState.EARLY: "Near its limit",
    UnitState.HELD: "Within its limit",
    UnitState.OUT: "Out of service",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitView:
    """One unit as a person reads it."""

    id: str
    name: str
    state: UnitState
    word: str
    since: str
    """For how long, in words; empty where nobody knows."""
    fish: str
    """The fish's temperature with its unit; a dash where there is none."""
    air: str
    age: str
    """How old the reading is, where that is not a matter of course."""
    limit: str


def unit_view(unit: Unit, now: UnitNow, shop: Shop, at_ms: int) -> UnitView:
    """Return a unit as a person reads it at an instant."""
    scale = shop.display
    state = now.state(at_ms)
    word = WORDS[state]
    if state is UnitState.WARM and now.at_ms is not None and at_ms - now.at_ms > now.stale_ms:
        word = "Too warm, then silent"
    return UnitView(
        id=str(unit.id),
        name=wording.printable(unit.name),
        state=state,
        word=word,
        since=_since(now, state, ZoneInfo(shop.timezone), at_ms),
        fish="–" if now.fish_c is None else wording.temperature(now.fish_c, scale),
        air="" if now.air_c is None else f"air {wording.temperature(now.air_c, scale)}",
        age=_age(now, at_ms),
        limit=limit_words(unit, scale),
    )


def limit_words(unit: Unit, scale: Scale) -> str:
    """Return a unit's limit in words."""
    return f"limit {wording.temperature(unit.limit_c, scale)}"


def in_order(views: list[UnitView]) -> list[UnitView]:
    """Return units with what is wrong first, else as the shop has them."""
    rank = {UnitState.WARM: 0, UnitState.SILENT: 1, UnitState.UNHEARD: 1, UnitState.EARLY: 2}
    return sorted(views, key=lambda view: rank.get(view.state, 3))


def headline(views: list[UnitView], loud: int) -> str:
    """Return the page's first words: how many units need somebody."""
    warm = sum(v.state is UnitState.WARM for v in views)
    blind = sum(v.state in (UnitState.SILENT, UnitState.UNHEARD) for v in views)
    early = sum(v.state is UnitState.EARLY for v in views)
    counts = ((warm, "too warm"), (blind, "not measured"), (early, "near the limit"))
    parts = [f"{wording.number(count)} {how}" for count, how in counts if count]
    if parts:
        first = next(count for count, _ in counts if count)
        number, how = parts[0].split(" ", 1)
        parts[0] = f"{number} {'unit' if first == 1 else 'units'} {how}"
        told = wording.joined(parts)
        return told[0].upper() + told[1:]
    if loud:
        return f"{wording.counted(loud, 'alarm')} to see to".capitalize()
    return "All within limits"


def alarm_words(shop: Shop, snapshot: Snapshot, alarm: Alarm, at_ms: int) -> Message:
    """Return an alarm's title and text, as a phone would show them now.

    Of one that has returned, as it was told when it did: its length grows no more.
    """
    told_ms = at_ms if alarm.active or alarm.returned_ms is None else alarm.returned_ms
    return alarm_message(
        shop,
        alarm.condition,
        About.RAISED if alarm.active else About.RETURNED,
        raised_ms=alarm.raised_ms,
        now_ms=max(told_ms, alarm.condition.since_ms),
        above_s=dict(snapshot.above_s).get(alarm.id),
    )


def is_behind(snapshot: Snapshot, at_ms: int) -> bool:
    """Whether the writer has not followed time for a while: what is shown is old."""
    if snapshot.number == 0 or not snapshot.health.is_recording:
        return True
    return at_ms - snapshot.at_ms > 180_000


def _since(now: UnitNow, state: UnitState, zone: ZoneInfo, at_ms: int) -> str:
    def ago(from_ms: float) -> str:
        return wording.duration(max(0.0, (at_ms - from_ms) / MS_PER_S))

    if state is UnitState.WARM and now.over is not None:
        return f"for {ago(now.over.start_ms)}"
    if state is UnitState.EARLY and now.early is not None:
        return f"for {ago(now.early.start_ms)}"
    if state is UnitState.SILENT and now.at_ms is not None:
        return f"since {wording.local_time(now.at_ms, zone, day_of_ms=at_ms)}"
    if state is UnitState.HELD:
        if now.last_over_ms is not None:
            return f"last over it {ago(now.last_over_ms)} ago"
        if now.watched_from_ms is not None:
            return f"never over it in {ago(now.watched_from_ms)}"
    return ""


def _age(now: UnitNow, at_ms: int) -> str:
    if now.at_ms is None or at_ms - now.at_ms <= min(now.stale_ms, 120_000):
        return ""
    return f"read {wording.relative(now.at_ms, at_ms)}"
