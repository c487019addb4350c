"""Weeks of a shop whose fish has a true temperature: was everybody told what was so?

The oracle is the plant, not the service: two cases and a freezer, each with air that follows
its compressor and fish that follows the air. The service's own receiver, evaluator and alarms
see only what the probes send. Power goes, compressors die, probes fall silent, clocks fail,
the shop is reloaded with another contact, limit or probe, people acknowledge and shelve; a lot
is held by one of the options. What :func:`judged` finds broken is a broken promise.

One seed decides a week. ``python -m simulation.truth --weeks 20 --first 100`` plays more.
"""

import argparse
import json
import random
import statistics
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

import click

from rimewatch.alarms import codec
from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.effects import Send
from rimewatch.config import load_shop
from rimewatch.entries import AnyEntry
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.ledger import Account, build_ledger
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.outcome import AlarmKept
from rimewatch.evaluation.resumed import Resumed
from rimewatch.intake.entries import parse_entry
from rimewatch.intake.receiver import Receiver
from rimewatch.report.ledger_json import ledger_document
from rimewatch.shop import Shop
from rimewatch.vocabulary import About, Rule
from simulation.world import HOUR, MINUTE, S

EVERY_MS: Final = 2 * MINUTE
STALE_MS: Final = 3 * EVERY_MS
ROOM_C: Final = 22.0
REPEAT_MS: Final = 15 * MINUTE
ACKNOWLEDGED_MS: Final = 4 * HOUR
SURE_C: Final = 0.6
"""Beyond a line by so much, noise and the probe's own lag leave no doubt that it is passed."""
STARTS: Final = (
    ("America/Chicago", "2026-01-12T12:00:00Z"),
    ("America/Chicago", "2026-03-05T12:00:00Z"),  # the clock goes forward in it
    ("America/Chicago", "2026-10-29T12:00:00Z"),  # and back in it
    ("Europe/Paris", "2026-03-26T06:00:00Z"),
    ("Australia/Lord_Howe", "2026-04-02T20:00:00Z"),
)
OPTIONS: Final = {
    "20C-168h": (-20.0, 168),
    "20C-24h": (-20.0, 24),
    "35C-15h": (-35.0, 15),
    "35C-then-20C-24h": (-20.0, 24),
}
LINES_C: Final = {"case-1": (10.0, 21.1), "case-2": (10.0, 21.1), "freezer-1": (-12.0, -5.0, 0.0)}
FISH_RULES: Final = frozenset(
    {Rule.HOLDING, Rule.FREEZER, Rule.POWER_LOSS, Rule.STALE, Rule.PROJECTION}
)
ON_DELAY_MS: Final = 15 * MINUTE

SHOP: Final = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "{zone}"
[broker]
url = "mqtt://127.0.0.1:1883"
[[unit]]
id = "case-1"
name = "Front case"
kind = "display-case"
limit_c = {limit_c}
on_delay_s = 900
lag_s = 1200
[[unit]]
id = "case-2"
name = "Side case"
kind = "display-case"
on_delay_s = 900
[[unit]]
id = "freezer-1"
name = "Freezer"
kind = "freezer"
on_delay_s = 900
[[probe]]
id = "one"
unit = "case-1"
measures = "air"
topic = "one"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 120
uncertainty_c = {uncertainty_c}
[[probe]]
id = "two"
unit = "case-2"
measures = "product"
topic = "two"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 120
[[probe]]
id = "cold"
unit = "freezer-1"
measures = "product"
topic = "cold"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 120
uncertainty_c = 0.3
[[contact]]
id = "{contact}"
name = "On call"
urls = ["json://127.0.0.1:9000/"]
[night]
from = "21:00"
to = "06:00"
wake_for = ["high"]
[[escalation]]
after_s = 0
contacts = ["{contact}"]
repeat_s = 900
"""
UNITS: Final = ("case-1", "case-2", "freezer-1")
PROBES: Final = {"case-1": "one", "case-2": "two", "freezer-1": "cold"}
SET_C: Final = {"case-1": 1.0, "case-2": 1.0}
WARMS_H: Final = {"case-1": 3.0, "case-2": 3.5, "freezer-1": 9.0}
"""Time constants of the air without cooling."""
LAG_S: Final = 1200.0


def shop_of(
    zone: str, *, contact: str = "first", limit_c: float = 5.0, uncertainty_c: float = 0.3
) -> Shop:
    """Return the shop as it is configured."""
    return load_shop(
        SHOP.format(zone=zone, contact=contact, limit_c=limit_c, uncertainty_c=uncertainty_c)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """Something that goes wrong for a while."""

    what: str
    """power, compressor, silence, stopped, slow or defrost."""
    units: tuple[str, ...]
    from_ms: int
    to_ms: int

    def holds(self, at_ms: int) -> bool:
        """Whether it does at an instant."""
        return self.from_ms <= at_ms < self.to_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """What a seed decides."""

    seed: int
    zone: str
    start_ms: int
    ends_ms: int
    option: str
    troubles: tuple[Trouble, ...]
    reloads: tuple[tuple[int, str], ...]
    """When, and what is other then: contact, limit, probe or nothing (a restart)."""
    deeds: tuple[tuple[int, str], ...]
    """When somebody looks at the alarms, and acknowledges or shelves what stands."""


def week(seed: int) -> Week:
    """Return what a seed decides."""
    chance = random.Random(f"week {seed}")
    zone, start = chance.choice(STARTS)
    option = list(OPTIONS)[seed % len(OPTIONS)]
    length_ms = (8 * 24 if option == "20C-168h" else 4 * 24) * HOUR
    start_ms = round(datetime.fromisoformat(start).timestamp() * S)
    troubles = [
        Trouble(what="defrost", units=(name,), from_ms=at_ms, to_ms=at_ms + 14 * MINUTE)
        for name, first_h in (("case-1", 5), ("case-2", 8))
        for at_ms in range(start_ms + first_h * HOUR, start_ms + length_ms, 8 * HOUR)
    ]
    slots = list(range(start_ms + 12 * HOUR, start_ms + length_ms - 16 * HOUR, 20 * HOUR))
    for at_ms in slots:
        kind = chance.choice(["power", "power", "compressor", "silence", "all", "clock", "none"])
        from_ms = at_ms + chance.randrange(4 * HOUR)
        to_ms = from_ms + chance.choice([1, 2, 4, 7, 11]) * HOUR
        one = chance.choice(UNITS)
        if kind == "power":
            troubles.append(Trouble(what="power", units=UNITS, from_ms=from_ms, to_ms=to_ms))
            if chance.random() < 0.4:  # its compressor does not start again
                later_ms = min(to_ms + 4 * HOUR, start_ms + length_ms - 4 * HOUR)
                troubles.append(
                    Trouble(what="compressor", units=(one,), from_ms=to_ms, to_ms=later_ms)
                )
        elif kind == "compressor":
            troubles.append(Trouble(what="compressor", units=(one,), from_ms=from_ms, to_ms=to_ms))
            if chance.random() < 0.4:  # and its probe falls silent when the fish is warm
                quiet_ms = from_ms + (to_ms - from_ms) // 2
                troubles.append(
                    Trouble(what="silence", units=(one,), from_ms=quiet_ms, to_ms=to_ms)
                )
        elif kind in ("silence", "all"):
            units = UNITS if kind == "all" else (one,)
            troubles.append(Trouble(what="silence", units=units, from_ms=from_ms, to_ms=to_ms))
        elif kind == "clock":
            what = chance.choice(["stopped", "slow"])
            troubles.append(Trouble(what=what, units=(one,), from_ms=from_ms, to_ms=to_ms))
            troubles.append(
                Trouble(what="compressor", units=(one,), from_ms=from_ms + HOUR // 2, to_ms=to_ms)
            )
    reloads = [
        (start_ms + chance.randrange(length_ms), chance.choice(["contact", "limit", "probe", ""]))
        for _ in range(6)
    ]
    disturbed = [t for t in troubles if t.what != "defrost"]
    for one_of in chance.sample(disturbed, k=min(3, len(disturbed))):
        at_ms = chance.randrange(one_of.from_ms, one_of.to_ms)
        reloads.append((at_ms, chance.choice(["contact", "contact", "limit", ""])))
    deeds = [
        (
            chance.randrange(one_of.from_ms, one_of.to_ms),
            chance.choice([*["acknowledge"] * 4, "shelve"]),
        )
        for one_of in disturbed
        for _ in range(2)
    ]
    return Week(
        seed=seed,
        zone=zone,
        start_ms=start_ms,
        ends_ms=start_ms + length_ms,
        option=option,
        troubles=tuple(troubles),
        reloads=tuple(sorted(reloads)),
        deeds=tuple(sorted(deeds)),
    )


@dataclass(slots=True)
class Played:
    """A week, and what the service made of it."""

    week: Week
    fish_c: dict[str, list[float]] = field(default_factory=lambda: {u: [] for u in UNITS})
    """True temperature of each unit's fish at each step from the start."""
    limits: list[tuple[int, float]] = field(default_factory=list)
    """From when the limit of the first case was what."""
    messages: list[Send] = field(default_factory=list)
    alarms: dict[str, Alarm] = field(default_factory=dict)
    changed: list[tuple[int, str, list[Alarm]]] = field(default_factory=list)
    """When another contact came, who, and the alarms that stood and were told of."""
    shelved: list[tuple[int, int, str | None, Rule]] = field(default_factory=list)
    acknowledged: list[tuple[int, str]] = field(default_factory=list)
    ledger: dict[str, object] = field(default_factory=dict)

    def at_ms(self, step: int) -> int:
        """Return the instant of a step."""
        return self.week.start_ms + step * EVERY_MS


def play(planned: Week) -> Played:
    """Play a week through receiver, evaluator and alarms."""
    return _Play(planned).play()


class _Play:
    def __init__(self, planned: Week) -> None:
        self.week = planned
        self.chance = random.Random(f"play {planned.seed}")
        self.contact, self.limit_c, self.uncertainty_c = "first", 5.0, 0.3
        self.shop = shop_of(planned.zone)
        self.store = MemoryStore()
        self.receiver = Receiver(self.shop)
        self.evaluator = Evaluator(self.shop, self.store, planned.start_ms, describes=False)
        self.found = Played(planned, limits=[(planned.start_ms, 5.0)])
        set_c = {"35C-15h": -42.0, "35C-then-20C-24h": -42.0}.get(planned.option, -26.0)
        self.set_c = {**SET_C, "freezer-1": set_c}
        self.air_c = {name: self.set_c[name] for name in UNITS}
        self.fish_c = dict(self.air_c)

    def play(self) -> Played:
        planned = self.week
        lot = {"lot": "L1", "species": "salmon", "origin": "wild", "serve_raw": True}
        self.enter(planned.start_ms, {"do": "receive-lot", "thickness_mm": 20, **lot})
        option = {"option": planned.option, "lot": "L1", "unit": "freezer-1"}
        self.enter(planned.start_ms, {"do": "start-freezing", **option})
        reloads, deeds = list(planned.reloads), list(planned.deeds)
        for at_ms in range(planned.start_ms, planned.ends_ms, EVERY_MS):
            self.pass_on(at_ms)
            while reloads and reloads[0][0] <= at_ms:
                self.reload(at_ms, reloads.pop(0)[1])
            while deeds and deeds[0][0] <= at_ms:
                self.do(at_ms, deeds.pop(0)[1])
            for n, name in enumerate(UNITS):
                self.send(at_ms + n * S, name)
            self.take()
        self.evaluator.finish(planned.ends_ms)
        self.take()
        account = Account(entries=self.evaluator.entries, batteries={})
        self.found.ledger = ledger_document(
            build_ledger(
                self.shop, self.store, account, from_ms=planned.start_ms, to_ms=planned.ends_ms
            )
        )
        return self.found

    def _troubled(self, what: str, name: str, at_ms: int) -> Trouble | None:
        return next(
            (
                t
                for t in self.week.troubles
                if t.what == what and name in t.units and t.holds(at_ms)
            ),
            None,
        )

    def pass_on(self, at_ms: int) -> None:
        """Let the plant go on for one step."""
        step_h = EVERY_MS / HOUR
        for name in UNITS:
            is_off = any(self._troubled(w, name, at_ms) for w in ("power", "compressor"))
            goal_c, tau_h = self.set_c[name] + self.chance.uniform(-0.5, 0.5), 0.3
            if is_off:
                goal_c, tau_h = ROOM_C, WARMS_H[name]
            elif self._troubled("defrost", name, at_ms):
                goal_c, tau_h = 9.0, 0.3
            share = step_h / tau_h
            self.air_c[name] += (goal_c - self.air_c[name]) * min(1.0, share)
            lag = EVERY_MS / S / LAG_S
            self.fish_c[name] += (self.air_c[name] - self.fish_c[name]) * min(1.0, lag)
            self.found.fish_c[name].append(self.fish_c[name])

    def send(self, at_ms: int, name: str) -> None:
        """Have a probe send, if it does, by its own clock."""
        if self._troubled("silence", name, at_ms):
            self.evaluator.advance(at_ms)
            return
        seen_c = self.air_c[name] if name == "case-1" else self.fish_c[name]
        own_ms = at_ms
        if (stopped := self._troubled("stopped", name, at_ms)) is not None:
            own_ms = stopped.from_ms
        elif self._troubled("slow", name, at_ms) is not None:
            own_ms = at_ms - 13 * HOUR
        body = {"t": round(seen_c + self.chance.uniform(-0.1, 0.1), 2), "ts": own_ms}
        topic = PROBES[name]
        self.evaluator.advance(at_ms)
        told = self.receiver.receive(topic, json.dumps(body).encode(), at_ms)
        for reading in told.readings:
            if self.store.add(reading):
                self.evaluator.observe(reading)

    def enter(self, at_ms: int, body: dict[str, object]) -> None:
        """Have somebody enter something."""
        entry: AnyEntry = parse_entry({**body, "who": "Ada"}, at_ms)
        self.evaluator.advance(at_ms)
        self.evaluator.enter(entry)

    def do(self, at_ms: int, what: str) -> None:
        """Have somebody look at what stands, and acknowledge or shelve one of it."""
        alarms = self.evaluator.alarms.alarms.values()
        standing = [a for a in alarms if a.active and a.told and not a.silent]
        if not standing:
            return
        alarm = self.chance.choice(sorted(standing, key=lambda a: a.id))
        body = {"do": what, "unit": alarm.key.unit, "rule": alarm.key.rule.value}
        if what == "shelve":
            self.enter(at_ms, body | {"minutes": 40})
            until_ms = at_ms + 40 * MINUTE
            self.found.shelved.append((at_ms, until_ms, alarm.key.unit, alarm.key.rule))
        else:
            self.enter(at_ms, body)
            self.found.acknowledged.append((at_ms, alarm.id))

    def reload(self, at_ms: int, what: str) -> None:
        """Begin again where the memory ends, with another configuration or the same."""
        self.take()
        if what == "contact":
            self.contact = "other" if self.contact == "first" else "first"
        elif what == "limit":
            self.limit_c = 4.0 if self.limit_c == 5.0 else 5.0
            self.found.limits.append((at_ms, self.limit_c))
        elif what == "probe":
            self.uncertainty_c = 0.4 if self.uncertainty_c == 0.3 else 0.3
        self.shop = shop_of(
            self.week.zone,
            contact=self.contact,
            limit_c=self.limit_c,
            uncertainty_c=self.uncertainty_c,
        )
        before = self.evaluator
        notes = {probe.id: self.receiver.clock_note(probe.id) for probe in self.shop.probes}
        resumed = Resumed(
            alarms=codec.from_json(codec.to_json(before.alarms)),
            entries=list(before.entries),
            watching_since_ms=before.watching_since_ms,
            seen_until_ms=before.now_ms,
            batteries={},
        )
        self.receiver = Receiver(self.shop)
        for probe, note in notes.items():
            self.receiver.remember_clock(probe, note)
        self.evaluator = Evaluator(self.shop, self.store, at_ms, resumed=resumed, describes=False)
        self.evaluator.load()
        self.take()
        if what == "contact":
            standing = [
                a for a in before.alarms.alarms.values() if a.active and a.told and not a.silent
            ]
            self.found.changed.append((at_ms, self.contact, standing))

    def take(self) -> None:
        """Keep what there is to write and to send."""
        for outcome in self.evaluator.take_outcomes():
            match outcome:
                case AlarmKept(alarm=alarm):
                    self.found.alarms[alarm.id] = alarm
                case Send():
                    self.found.messages.append(outcome)


# --- the truth ----------------------------------------------------------------------------


def judged(played: Played, latencies_s: list[float] | None = None) -> list[str]:
    """Return the promises that a week broke, a sentence each.

    Args:
        played: The week.
        latencies_s: Takes from truth to told: how long after it was due somebody was told.
    """
    return [
        *_untold(played, latencies_s if latencies_s is not None else []),
        *_not_told_again(played),
        *_opposite(played),
        *_untrue_holds(played),
        *_newcomers(played),
        *_for_ever(played),
    ]


def _about(played: Played, name: str) -> list[Send]:
    return [
        due
        for due in played.messages
        if due.key.rule in FISH_RULES and (due.key.unit == name or name in due.condition.units)
    ]


def _limit_c(played: Played, name: str, at_ms: int) -> float:
    if name == "freezer-1":
        return -18.0
    if name == "case-2":
        return 5.0
    return [limit_c for from_ms, limit_c in played.limits if from_ms <= at_ms][-1]


def _above(
    played: Played, name: str, line_c: float | None, lasting_ms: int = ON_DELAY_MS
) -> Iterator[tuple[int, int]]:
    """Yield the times in which the true fish was surely above a line, or its limit, for long."""
    from_ms: int | None = None
    curve = played.fish_c[name]
    for step, fish_c in enumerate([*curve, -99.0]):
        at_ms = played.at_ms(step)
        limit_c = _limit_c(played, name, min(at_ms, played.week.ends_ms - 1))
        over = fish_c > (limit_c if line_c is None else line_c) + SURE_C
        if over and from_ms is None:
            from_ms = at_ms
        elif not over and from_ms is not None:
            if at_ms - from_ms >= lasting_ms:
                yield from_ms, at_ms
            from_ms = None


def _troubles(played: Played, what: Sequence[str], name: str, from_ms: int, to_ms: int) -> bool:
    return any(
        t.what in what and name in t.units and t.from_ms - HOUR < to_ms and t.to_ms + HOUR > from_ms
        for t in played.week.troubles
    )


def _is_shelved(played: Played, name: str, from_ms: int, to_ms: int) -> bool:
    return any(
        s < to_ms and e + 5 * MINUTE > from_ms and unit in (name, None)
        for s, e, unit, rule in played.shelved
        if rule is not Rule.POWER_LOSS  # then the units speak for themselves
    )


def _has_no_way(played: Played, name: str, from_ms: int, to_ms: int) -> bool:
    """Whether nobody need be told: put aside, or silent since it was cold (left to the morning).

    One unit that falls silent while it is cold, and warms unseen, is a medium alarm by the
    contract: at night nobody hears of it.
    """
    if _is_shelved(played, name, from_ms, to_ms):
        return True
    quiet = [
        t
        for t in played.week.troubles
        if t.what == "silence" and name in t.units and t.from_ms < to_ms and t.to_ms > from_ms
    ]
    return any(len(t.units) < len(UNITS) and t.from_ms < from_ms + ON_DELAY_MS for t in quiet)


def _untold(played: Played, latencies_s: list[float]) -> Iterator[str]:
    """Somebody is told of fish above its limit within the on-delay, two readings and 60 s."""
    for name in UNITS:
        told = _about(played, name)
        for from_ms, to_ms in _above(played, name, None):
            if _has_no_way(played, name, from_ms, to_ms):
                continue
            due_ms = from_ms + ON_DELAY_MS + 2 * EVERY_MS + 60 * S
            if _troubles(played, ("stopped", "slow"), name, from_ms, to_ms):
                due_ms += STALE_MS + 4 * EVERY_MS
            if any(abs(at_ms - from_ms) < 30 * MINUTE for at_ms, _ in played.limits[1:]):
                due_ms += ON_DELAY_MS
            if to_ms < due_ms:
                continue
            first = [d for d in told if d.about is not About.RETURNED]
            standing = [
                d.at_ms
                for d in first
                if d.at_ms <= due_ms
                and ((over := played.alarms[d.alarm_id].returned_ms) is None or over > from_ms)
            ]
            if not standing:
                at = datetime.fromtimestamp(from_ms / S, tz=UTC)
                later = [d.at_ms for d in first if d.at_ms > from_ms]
                when = (min(later) - from_ms) / MINUTE if later else float("inf")
                yield f"untold: {name} too warm from {at:%d %H:%M}, told {when:.0f} min later"
            else:
                latencies_s.append(max(0.0, (min(standing) - from_ms) / S))


def _not_told_again(played: Played) -> Iterator[str]:
    """Whoever was told is told again when the fish passes a further line."""
    for name in UNITS:
        told = [d for d in _about(played, name) if d.about is not About.RETURNED]
        for line_c in LINES_C[name]:
            for from_ms, to_ms in _above(played, name, line_c, HOUR):
                unseen = ("silence", "stopped", "slow")
                if _troubles(played, unseen, name, from_ms, to_ms):
                    continue
                if _is_shelved(played, name, from_ms, to_ms):
                    continue
                until_ms = from_ms + REPEAT_MS + 4 * EVERY_MS + 60 * S
                if not any(from_ms - HOUR // 2 <= d.at_ms <= until_ms for d in told):
                    at = datetime.fromtimestamp(from_ms / S, tz=UTC)
                    yield f"not told again: {name} past {line_c} °C at {at:%d %H:%M}"


def _opposite(played: Played) -> Iterator[str]:
    """Nobody is told that it is over while the fish is warm and warming, or the power is out."""
    for due in played.messages:
        send = due
        if send.about is not About.RETURNED:
            continue
        step = (send.at_ms - played.week.start_ms) // EVERY_MS
        if send.key.rule is Rule.POWER_LOSS:
            out = [t for t in played.week.troubles if t.what == "power"]
            if any(t.holds(send.at_ms) for t in out):
                yield f"opposite: power back at {send.at_ms}, and it is out"
        elif send.key.rule in (Rule.HOLDING, Rule.FREEZER) and send.key.unit is not None:
            curve = played.fish_c[send.key.unit]
            now, before = curve[min(step, len(curve) - 1)], curve[max(0, step - 10)]
            if now > _limit_c(played, send.key.unit, send.at_ms) + SURE_C and now > before:
                yield f"opposite: {send.key.unit} normal again at {now:.1f} °C"


def _untrue_holds(played: Played) -> Iterator[str]:
    """No hold is complete that was not true."""
    lots = played.ledger["lots"]
    assert isinstance(lots, list)
    for lot in lots:
        if lot["completed"] is None:
            continue
        level_c, hours = OPTIONS[played.week.option]
        from_ms, to_ms = (
            round(datetime.fromisoformat(lot[key]).timestamp() * S)
            for key in ("started", "completed")
        )
        if to_ms - from_ms < hours * HOUR - S:
            yield f"hold: complete after {(to_ms - from_ms) / HOUR:.1f} h"
        first, last = ((ms - played.week.start_ms) // EVERY_MS for ms in (from_ms, to_ms))
        warmest = max(played.fish_c["freezer-1"][first + 1 : last], default=-99.0)
        if warmest > level_c:
            yield f"hold: complete, and its fish was at {warmest:.1f} °C"
        unseen = [
            t
            for t in played.week.troubles
            if t.what in ("silence", "stopped", "slow")
            and "freezer-1" in t.units
            and t.from_ms > from_ms
            and t.to_ms < to_ms
        ]
        if unseen:
            yield f"hold: complete over {unseen[0].what} from {unseen[0].from_ms}"


def _newcomers(played: Played) -> Iterator[str]:
    """Whoever comes to be on call knows of what stands and may sound."""
    for at_ms, contact, standing in played.changed:
        for alarm in standing:
            after = played.alarms[alarm.id]
            if alarm.priority.value != "high" or (
                after.returned_ms is not None and after.returned_ms <= at_ms + MINUTE
            ):
                continue
            if any(at_ms <= e and s <= at_ms for s, e, _, _ in played.shelved):
                continue
            heard = any(
                d.contact == contact and d.alarm_id == alarm.id and d.at_ms <= at_ms + 2 * MINUTE
                for d in played.messages
            )
            if not heard:
                yield f"newcomer: {contact} was not told of {alarm.id}"


def _for_ever(played: Played) -> Iterator[str]:
    """An acknowledgement does not last for ever: what still stands is told again."""
    for at_ms, alarm_id in played.acknowledged:
        alarm = played.alarms[alarm_id]
        over_ms = alarm.returned_ms or played.week.ends_ms
        due_ms = at_ms + ACKNOWLEDGED_MS + MINUTE
        later = [
            other for other, which in played.acknowledged if which == alarm_id and other > at_ms
        ]
        if over_ms <= due_ms or alarm.priority.value != "high" or (later and later[0] < due_ms):
            continue
        if any(s < due_ms and e > at_ms for s, e, _, _ in played.shelved):
            continue
        if not any(d.alarm_id == alarm_id and at_ms < d.at_ms <= due_ms for d in played.messages):
            yield f"for ever: {alarm_id} was acknowledged and never told again"


def main() -> None:
    """Play some weeks and say what came of them."""
    parser = argparse.ArgumentParser(description="Weeks against the true temperature of the fish.")
    parser.add_argument("--weeks", type=int, default=10)
    parser.add_argument("--first", type=int, default=0)
    chosen = parser.parse_args()
    broken: Counter[str] = Counter()
    late_s: list[float] = []
    units = 0.0
    for seed in range(chosen.first, chosen.first + chosen.weeks):
        played = play(week(seed))
        units += len(UNITS) * (played.week.ends_ms - played.week.start_ms) / (7 * 24 * HOUR)
        for line in judged(played, late_s):
            broken[line.partition(":")[0]] += 1
            click.echo(f"seed {seed}: {line}")
    click.echo(f"{units:.0f} unit-weeks, broken: {dict(broken)}")
    if len(late_s) > 1:
        cuts = statistics.quantiles(late_s, n=100, method="inclusive")
        before = sum(one == 0 for one in late_s)
        click.echo(
            f"from truth to told, {len(late_s)} times, {before} of them before it was so: "
            f"p50 {cuts[49]:.0f} s, p99 {cuts[98]:.0f} s"
        )


if __name__ == "__main__":
    main()
