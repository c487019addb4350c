"""What one seed decides: the shop, its night, and everything that goes wrong in it."""

import json
import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, Final

from rimewatch.config import load_shop
from rimewatch.intake.trace import TraceMessage
from rimewatch.shop import Shop
from simulation.world import HOUR, MINUTE, S

NIGHTS: Final = (
    ("America/Chicago", "2026-01-15T12:30:00Z"),
    ("America/Chicago", "2026-03-08T11:30:00Z"),  # the clock goes forward in this night
    ("America/Chicago", "2026-11-01T12:30:00Z"),  # and back in this one
    ("Europe/Paris", "2026-03-29T04:30:00Z"),
    ("Europe/Paris", "2026-10-25T05:30:00Z"),
    ("Australia/Lord_Howe", "2026-04-04T20:00:00Z"),  # half an hour back
    ("Pacific/Auckland", "2026-09-26T17:30:00Z"),
)
"""Zones, and the 06:30 of a morning in each."""
OTHER_ZONES: Final = ("America/New_York", "Europe/Lisbon", "Asia/Tokyo", "America/Los_Angeles")

SHOP: Final = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "{zone}"
summary_at = "06:30"
[broker]
url = "mqtt://127.0.0.1:1883"
entries = true
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
operating_limit_c = 3.3
on_delay_s = {on_delay_s}
lag_s = {lag_s}
[[unit]]
id = "case-2"
name = "Side display case"
kind = "display-case"
on_delay_s = 300
lag_s = 0
[[unit]]
id = "freezer-1"
name = "Chest freezer"
kind = "freezer"
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "json"
fields = {{ value = "t", time = "ts", battery = "bat" }}
every_s = {every_s}
[[probe]]
id = "case-2-product"
unit = "case-2"
measures = "product"
topic = "shop/case-2/product"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = {slow_s}
[[probe]]
id = "freezer-1-product"
unit = "freezer-1"
measures = "product"
topic = "shop/freezer-1/product"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = {slow_s}
[[probe]]
id = "case-2-humidity"
unit = "case-2"
measures = "humidity"
topic = "shop/case-2/humidity"
format = "number"
every_s = 900
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:9000/"]
[[contact]]
id = "second"
name = "Owner"
urls = ["json://127.0.0.1:9001/"]
[night]
from = "21:00"
to = "06:00"
wake_for = ["high"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = {repeat_s}
[[escalation]]
after_s = 1800
contacts = ["second"]
repeat_s = 1800
"""

UNSTAMPED: Final = "case-2-humidity"
"""This probe tells no time, so that a message sent again counts at its second arrival."""

ENTRY_TOPIC: Final = "rimewatch/rimewatch/entry"


class Kind(StrEnum):
    """What can go wrong."""

    LINK_DROP = "link drop"
    LINK_SILENT = "link silent"
    BROKER_RESTART = "broker restart"
    BROKER_FORGETS_ACKS = "broker forgets acks"
    SESSION_LOST = "session lost"
    PROBE_BACKLOG = "probe backlog"
    PROBE_DISORDER = "probe disorder"
    PROBE_TWICE = "probe sends twice"
    GARBAGE = "garbage message"
    KILL_WAITING = "kill while waiting"
    KILL_AT_STATEMENT = "kill at a statement"
    KILL_BEFORE_COMMIT = "kill before commit"
    POWER_CUT_IN_COMMIT = "power cut in commit"
    KILL_BEFORE_ACK = "kill between commit and ack"
    KILL_AMID_ACKS = "kill amid acks"
    KILL_AFTER_SEND = "kill between send and record"
    RESTART = "orderly restart"
    RELOAD_ZONE = "other time zone"
    DISK_FULL = "disk full"
    DISK_FAILS = "disk fails at commit"
    DISK_SLOW = "disk slow"
    LOCKED = "database locked"
    READER = "long reader"
    CLOCK_STEP = "clock steps"
    CLOCK_JUMP = "clock jumps"
    PUSH_DOWN = "push refuses"
    PUSH_500 = "push answers 500"
    PUSH_HANGS = "push hangs"
    PUSH_SLOW = "push slow"
    PUSH_LOSES = "push reply lost"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that goes wrong, from an instant on."""

    kind: Kind
    at_ms: int
    """Since the start."""
    for_ms: int
    """How long it lasts, or the daemon stays away."""
    number: int
    """What else there is to decide of it; each kind reads it in its own way."""
    place: str = ""
    """A probe, a contact or a zone, where one is meant."""

    def __str__(self) -> str:
        """Say it in a line."""
        where = f" {self.place}" if self.place else ""
        minutes = self.at_ms / MINUTE
        return f"{self.kind}{where} at {minutes:.1f} min for {self.for_ms / S:.0f} s #{self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A message that a probe or a person publishes, as true time has it."""

    number: int
    made_ms: int
    """Since the start."""
    topic: str
    payload: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One run, before it begins."""

    seed: int
    start_ms: int
    shop: Shop
    heals_ms: int
    """When everything that is wrong ends."""
    ends_ms: int
    messages: Sequence[Message]
    by_hand: Sequence[tuple[int, dict[str, Any]]]
    """Entries made at the machine itself, and when."""
    faults: Sequence[Fault] = field(default=())

    def without(self, faults: Sequence[Fault]) -> "Plan":
        """Return the same run without some of its faults."""
        return self.with_faults([fault for fault in self.faults if fault not in faults])

    def with_faults(self, faults: Sequence[Fault]) -> "Plan":
        """Return the same run with other faults."""
        return replace(self, faults=sorted(faults, key=lambda fault: fault.at_ms))

    def undisturbed(self) -> list[TraceMessage]:
        """Return what arrives where nothing goes wrong: at once, and in order."""
        return [
            TraceMessage(
                at_ms=self.start_ms + m.made_ms, topic=m.topic, payload=m.payload, retained=False
            )
            for m in self.messages
        ]


def plan(seed: int) -> Plan:
    """Return what a seed decides."""
    chance = random.Random(f"night {seed}")
    zone, morning = chance.choice(NIGHTS)
    heals_ms = chance.choice([90, 120, 180, 240, 360, 540]) * MINUTE
    if chance.random() < 0.03:
        heals_ms = chance.choice([26, 40]) * HOUR
    start_ms = round(datetime.fromisoformat(morning).timestamp() * S)
    start_ms -= chance.randrange(heals_ms + 2 * HOUR)
    every_s, slow_s = chance.choice([(120, 300), (300, 300), (300, 600), (600, 600)])
    shop = load_shop(
        SHOP.format(
            zone=zone,
            on_delay_s=chance.choice([300, 900]),
            lag_s=chance.choice([0, 1200]),
            every_s=every_s,
            slow_s=slow_s,
            repeat_s=chance.choice([900, 3600]),
        )
    )
    ends_ms = heals_ms + chance.choice([25, 40, 60]) * MINUTE
    messages = _messages(chance, start_ms, ends_ms - 5 * MINUTE, every_s, slow_s)
    faults = _faults(random.Random(f"faults {seed}"), heals_ms, shop)
    return Plan(
        seed=seed,
        start_ms=start_ms,
        shop=shop,
        heals_ms=heals_ms,
        ends_ms=ends_ms,
        messages=messages,
        by_hand=_by_hand(chance, ends_ms - 10 * MINUTE),
        faults=faults,
    )


# --- the night ----------------------------------------------------------------------------


def _messages(
    chance: random.Random, start_ms: int, until_ms: int, every_s: int, slow_s: int
) -> list[Message]:
    found: list[tuple[int, str, bytes]] = []
    for topic, each_s, base_c, rises_c in (
        ("shop/case-1/air", every_s, 2.0, (3.0, 10.0)),
        ("shop/case-2/product", slow_s, 1.5, (2.0, 8.0)),
        ("shop/freezer-1/product", slow_s, -24.0, (3.0, 12.0)),
    ):
        spells = [
            (begins, begins + chance.randrange(10, 150) * MINUTE, chance.uniform(*rises_c))
            for begins in (chance.randrange(until_ms) for _ in range(chance.randrange(4)))
        ]
        if chance.random() < 0.3:  # one that still stands at the end
            spells.append((until_ms - chance.randrange(30, 120) * MINUTE, until_ms, 7.0))
        silent_ms = chance.randrange(until_ms) if chance.random() < 0.3 else until_ms
        speaks_ms = silent_ms + chance.randrange(10, 90) * MINUTE
        t_ms = chance.randrange(each_s * S)
        while t_ms < until_ms:
            if not silent_ms <= t_ms < speaks_ms:
                rise_c = max((r for b, e, r in spells if b <= t_ms < e), default=0.0)
                celsius = base_c + rise_c + chance.uniform(-0.4, 0.4)
                body = {"t": round(celsius, 2), "ts": _iso(start_ms + t_ms)}
                if topic.endswith("air"):
                    body["bat"] = round(95 - 10 * t_ms / until_ms, 1)
                found.append((t_ms, topic, json.dumps(body).encode()))
            t_ms += each_s * S + chance.randrange(-500, 501)
    for t_ms in range(chance.randrange(15 * MINUTE), until_ms, 15 * MINUTE):
        percent = round(chance.uniform(60, 90), 1)
        found.append((t_ms, "shop/case-2/humidity", f"{percent}".encode()))
    for t_ms, body in _entries_by_broker(chance, start_ms, until_ms):
        found.append((t_ms, ENTRY_TOPIC, json.dumps(body).encode()))
    found.sort()
    return [
        Message(number=n, made_ms=t_ms, topic=topic, payload=payload)
        for n, (t_ms, topic, payload) in enumerate(found)
    ]


def _entries_by_broker(
    chance: random.Random, start_ms: int, until_ms: int
) -> list[tuple[int, dict[str, Any]]]:
    """A lot is received, frozen and moved; alarms are acknowledged."""
    lot = {"lot": "L1", "who": "Ada"}
    t_ms = chance.randrange(5 * MINUTE, HOUR)
    found: list[tuple[int, dict[str, Any]]] = [
        (
            t_ms,
            {"do": "receive-lot", "species": "salmon", "origin": "wild", "serve_raw": True, **lot},
        ),
        (
            t_ms + chance.randrange(MINUTE, HOUR),
            {"do": "start-freezing", "unit": "freezer-1", "option": "20C-168h", **lot},
        ),
    ]
    for _ in range(chance.randrange(3)):
        unit = chance.choice(["case-1", "case-2"])
        body = {"do": "acknowledge", "unit": unit, "rule": "holding", "who": "Ada"}
        found.append((chance.randrange(until_ms), body))
    return [(at, {**body, "at": _iso(start_ms + at)}) for at, body in found]


def _by_hand(chance: random.Random, until_ms: int) -> list[tuple[int, dict[str, Any]]]:
    found = []
    for _ in range(chance.randrange(4)):
        t_ms = chance.randrange(until_ms)
        unit = chance.choice(["case-1", "case-2", "freezer-1"])
        rule = "freezer" if unit == "freezer-1" else "holding"
        found.append(
            (
                t_ms,
                chance.choice(
                    [
                        {"do": "acknowledge", "unit": unit, "rule": rule},
                        {"do": "corrective-action", "unit": unit, "text": "moved the fish"},
                        {"do": "shelve", "unit": unit, "rule": rule, "minutes": 45},
                    ]
                ),
            )
        )
    return sorted(found, key=lambda one: one[0])


def _iso(at_ms: int) -> str:
    at = datetime.fromtimestamp(at_ms // S, tz=UTC)
    return f"{at:%Y-%m-%dT%H:%M:%S}.{at_ms % S:03d}Z"


# --- what goes wrong ------------------------------------------------------------------------

PUSH: Final = (Kind.PUSH_DOWN, Kind.PUSH_500, Kind.PUSH_HANGS, Kind.PUSH_SLOW, Kind.PUSH_LOSES)
PROBES: Final = ("shop/case-1/air", "shop/case-2/product", "shop/freezer-1/product")
RARE: Final = {Kind.CLOCK_JUMP: 0.3, Kind.RELOAD_ZONE: 0.4, Kind.SESSION_LOST: 0.4}


def _faults(chance: random.Random, heals_ms: int, shop: Shop) -> list[Fault]:
    kinds = list(Kind)
    weights = [RARE.get(kind, 1.0) for kind in kinds]
    count = chance.choice([1, 2, 4, 6, 8, 12, 16])
    found = []
    for kind in chance.choices(kinds, weights, k=count):
        place = ""
        if kind in PUSH:
            place = chance.choice([*(contact.id for contact in shop.contacts), "all"])
        elif kind in (Kind.PROBE_BACKLOG, Kind.PROBE_DISORDER, Kind.PROBE_TWICE):
            place = chance.choice(PROBES)
        elif kind is Kind.RELOAD_ZONE:
            place = chance.choice(OTHER_ZONES)
        found.append(
            Fault(
                kind=kind,
                at_ms=chance.randrange(MINUTE, heals_ms),
                for_ms=round(S * chance.choice([1, 5, 30, 120, 600, 1800, 5400])),
                number=chance.randrange(1_000_000),
                place=place,
            )
        )
    return sorted(found, key=lambda fault: fault.at_ms)
