"""What one seed decides of a week: its troubles, reloads, deeds and holds, and what probes send."""

import json
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from simulation.plan import PUSH, Fault, Kind, Message, Plan
from simulation.plant import FREEZER, PROBES, UNITS, Course, Setup, Trouble, course
from simulation.world import HOUR, MINUTE, S

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
"""By freezing option: the warmest that its fish may be, and for how many hours."""
CALM_EVERY: Final = 6
"""Of so many weeks one is sound, and long enough for a hold of 168 h."""
SLOW_MS: Final = 13 * HOUR
LATE_MS: Final = 12 * MINUTE
AHEAD_MS: Final = 3 * HOUR
FAULTS: Final = (
    Kind.RESTART,
    Kind.KILL_WAITING,
    Kind.KILL_BEFORE_COMMIT,
    Kind.POWER_CUT_IN_COMMIT,
    Kind.KILL_BEFORE_ACK,
    Kind.KILL_AFTER_SEND,
    Kind.LINK_DROP,
    Kind.LINK_SILENT,
    Kind.BROKER_RESTART,
    Kind.BROKER_FORGETS_ACKS,
    Kind.PUSH_500,
    Kind.PUSH_LOSES,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A lot that is held."""

    lot: str
    option: str
    from_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Week(Plan):
    """What a seed decides."""

    setup: Setup
    every_ms: int
    courses: dict[str, Course]
    troubles: tuple[Trouble, ...]
    reloads: tuple[tuple[int, str], ...]
    """When, and what is other then; nothing: the same is read again."""
    deeds: tuple[tuple[int, str], ...]
    """When somebody looks at the alarms, and what they do of what stands."""
    holds: tuple[Hold, ...]

    @property
    def over_ms(self) -> int:
        """The instant at which it ends."""
        return self.start_ms + self.ends_ms

    @property
    def is_calm(self) -> bool:
        """Whether nothing goes wrong with the fish."""
        return self.seed % CALM_EVERY == 0


def week(seed: int) -> Week:
    """Return what a seed decides."""
    chance = random.Random(f"week {seed}")
    zone, start = chance.choice(STARTS)
    is_calm = seed % CALM_EVERY == 0
    length_ms = (8 if is_calm else chance.choice([3, 4, 5])) * 24 * HOUR
    start_ms = round(datetime.fromisoformat(start).timestamp() * S)
    every_ms = chance.choice([2, 3, 5, 5]) * MINUTE
    has_third = chance.random() < 0.3
    units = (*UNITS, "case-3") if has_third else UNITS
    troubles = list(
        _every_day(chance, units, zone, start_ms=start_ms, length_ms=length_ms, every_ms=every_ms)
    )
    if not is_calm:
        troubles += _troubles(chance, units, start_ms, length_ms)
    set_c = chance.choice([-26.0, -42.0])
    courses = {
        unit: course(
            unit,
            troubles,
            set_c=set_c if unit == FREEZER else 1.0,
            start_ms=start_ms,
            steps=length_ms // every_ms,
            every_ms=every_ms,
            chance=chance,
        )
        for unit in units
    }
    setup = Setup(zone=zone, every_s=every_ms // S)
    disturbed = [t for t in troubles if t.what not in ("defrost", "door", "gap")]
    return Week(
        seed=seed,
        start_ms=start_ms,
        shop=setup.shop(),
        heals_ms=length_ms - 30 * MINUTE,
        ends_ms=length_ms,
        messages=messages_of(chance, courses, troubles, start_ms, every_ms),
        by_hand=(),
        faults=_faults(chance, disturbed, start_ms, length_ms),
        setup=setup,
        every_ms=every_ms,
        courses=courses,
        troubles=tuple(troubles),
        reloads=_reloads(chance, disturbed, start_ms, length_ms, has_third=has_third),
        deeds=_deeds(chance, disturbed),
        holds=_holds(chance, start_ms, length_ms, set_c, is_calm=is_calm),
    )


def is_open(at_ms: int, zone: str) -> bool:
    """Whether people are in the shop."""
    return 8 <= datetime.fromtimestamp(at_ms / S, tz=ZoneInfo(zone)).hour < 20


def _every_day(
    chance: random.Random,
    units: Sequence[str],
    zone: str,
    *,
    start_ms: int,
    length_ms: int,
    every_ms: int,
) -> Iterator[Trouble]:
    """Defrosts of the cases, doors that stand open by day, a message or two that get lost."""
    for n, unit in enumerate(units):
        if unit != FREEZER:
            for at_ms in range(start_ms + (5 + 3 * n) * HOUR, start_ms + length_ms, 8 * HOUR):
                yield Trouble(
                    what="defrost", units=(unit,), from_ms=at_ms, to_ms=at_ms + 14 * MINUTE
                )
            for _ in range(length_ms // (8 * HOUR)):
                at_ms = start_ms + chance.randrange(length_ms)
                lasts_ms = chance.randrange(2, 7) * MINUTE
                if is_open(at_ms, zone):
                    yield Trouble(what="door", units=(unit,), from_ms=at_ms, to_ms=at_ms + lasts_ms)
        for _ in range(length_ms // (24 * HOUR)):
            at_ms = start_ms + chance.randrange(length_ms)
            yield Trouble(what="gap", units=(unit,), from_ms=at_ms, to_ms=at_ms + every_ms)


def _troubles(
    chance: random.Random, units: Sequence[str], start_ms: int, length_ms: int
) -> Iterator[Trouble]:
    apart_h = chance.choice([18, 20, 30])
    for slot_ms in range(start_ms + 12 * HOUR, start_ms + length_ms - 14 * HOUR, apart_h * HOUR):
        from_ms = slot_ms + chance.randrange(4 * HOUR)
        to_ms = from_ms + chance.choice([1, 2, 4, 7, 10]) * HOUR
        one = chance.choice(units)
        kind = chance.choice(
            ["power", "power", "compressor", "silence", "all", "clock", "clock", "backlog"]
        )
        if kind == "power":
            yield Trouble(what="power", units=tuple(units), from_ms=from_ms, to_ms=to_ms)
            if chance.random() < 0.4:  # its compressor does not start again
                later_ms = min(to_ms + 4 * HOUR, start_ms + length_ms - 4 * HOUR)
                yield Trouble(what="compressor", units=(one,), from_ms=to_ms, to_ms=later_ms)
        elif kind == "compressor":
            yield Trouble(what="compressor", units=(one,), from_ms=from_ms, to_ms=to_ms)
            if chance.random() < 0.4:  # and its probe falls silent when the fish is warm
                quiet_ms = from_ms + (to_ms - from_ms) // 2
                yield Trouble(what="silence", units=(one,), from_ms=quiet_ms, to_ms=to_ms)
        elif kind in ("silence", "all"):
            quiet = tuple(units) if kind == "all" else (one,)
            yield Trouble(what="silence", units=quiet, from_ms=from_ms, to_ms=to_ms)
        else:
            what = "backlog"
            if kind == "clock":
                what = chance.choice(["stopped", "slow", "late", "ahead"])
            yield Trouble(what=what, units=(one,), from_ms=from_ms, to_ms=to_ms)
            begins_ms = from_ms + HOUR // 2
            yield Trouble(what="compressor", units=(one,), from_ms=begins_ms, to_ms=to_ms)


def messages_of(
    chance: random.Random,
    courses: dict[str, Course],
    troubles: Sequence[Trouble],
    start_ms: int,
    every_ms: int,
) -> list[Message]:
    found: list[tuple[int, int, str, bytes]] = []
    for n, (unit, true) in enumerate(courses.items()):
        own = [t for t in troubles if unit in t.units and t.what not in ("power", "compressor")]
        temperatures = true.air_c if unit == "case-1" else true.fish_c
        for step, true_c in enumerate(temperatures):
            at_ms = start_ms + step * every_ms
            now = {trouble.what: trouble for trouble in own if trouble.holds(at_ms)}
            seen_c = round(true_c + chance.uniform(-0.1, 0.1), 2)
            if "silence" in now or "gap" in now:
                continue
            sent_ms = own_ms = at_ms
            if "stopped" in now:
                own_ms = now["stopped"].from_ms
            elif "slow" in now:
                own_ms = at_ms - SLOW_MS
            elif "late" in now:
                own_ms = at_ms - LATE_MS
            elif "ahead" in now:
                own_ms = at_ms + AHEAD_MS
            if "backlog" in now:
                sent_ms = now["backlog"].to_ms
            body = {"t": seen_c, "ts": own_ms}
            found.append(
                (sent_ms - start_ms + 7 * n, step, PROBES[unit], json.dumps(body).encode())
            )
    found.sort(key=lambda one: one[:2])
    return [
        Message(number=number, made_ms=made_ms, topic=topic, payload=payload)
        for number, (made_ms, _, topic, payload) in enumerate(found)
    ]


def _faults(
    chance: random.Random, disturbed: Sequence[Trouble], start_ms: int, length_ms: int
) -> list[Fault]:
    """The service dies, the link drops, phones refuse: seldom, and also when it matters."""
    found = []
    for _ in range(chance.randrange(7)):
        at_ms = chance.randrange(HOUR, length_ms - HOUR)
        if disturbed and chance.random() < 0.6:
            one = chance.choice(disturbed)
            at_ms = chance.randrange(one.from_ms, one.to_ms) - start_ms
        kind = chance.choice(FAULTS)
        lasts_s = [1, 5, 30, 120] if kind not in PUSH else [30, 300, 1800]
        found.append(
            Fault(
                kind=kind,
                at_ms=min(at_ms, length_ms - HOUR),
                for_ms=chance.choice(lasts_s) * S,
                number=chance.randrange(1_000_000),
                place="all",
            )
        )
    return sorted(found, key=lambda fault: fault.at_ms)


def _reloads(
    chance: random.Random,
    disturbed: Sequence[Trouble],
    start_ms: int,
    length_ms: int,
    *,
    has_third: bool,
) -> tuple[tuple[int, str], ...]:
    kinds = ["contact", "address", "limit", "uncertainty", "probe", "name", ""]
    found = [(start_ms + chance.randrange(length_ms), chance.choice(kinds)) for _ in range(5)]
    if has_third:
        found.append((start_ms + 2 * HOUR, "unit"))
        found += [(start_ms + chance.randrange(6 * HOUR, length_ms), "unit") for _ in range(3)]
    for one in chance.sample(disturbed, k=min(3, len(disturbed))):
        at_ms = chance.randrange(one.from_ms, one.to_ms)
        found.append((at_ms, chance.choice(["contact", "contact", "address", "limit", "name", ""])))
    return tuple(sorted(found))


def _deeds(chance: random.Random, disturbed: Sequence[Trouble]) -> tuple[tuple[int, str], ...]:
    kinds = [*["acknowledge"] * 4, "promise", "shelve"]
    return tuple(
        sorted(
            (chance.randrange(one.from_ms, one.to_ms), chance.choice(kinds))
            for one in disturbed
            for _ in range(2)
        )
    )


def _holds(
    chance: random.Random, start_ms: int, length_ms: int, set_c: float, *, is_calm: bool
) -> tuple[Hold, ...]:
    """Lots for the freezer, one after the other, by the options that it is cold enough for."""
    options = [name for name, (level_c, _) in OPTIONS.items() if name != "20C-168h"]
    options = [n for n in options if set_c < -35.0 or "35C" not in n]
    found = [Hold(lot="L0", option="20C-168h", from_ms=start_ms + 20 * MINUTE)]
    last_ms = start_ms + length_ms - (72 if is_calm else 0) * HOUR
    for n, at_ms in enumerate(range(start_ms + HOUR, last_ms, 31 * HOUR), start=1):
        found.append(Hold(lot=f"L{n}", option=chance.choice(options), from_ms=at_ms))
    return tuple(found)
