"""Backlog: what the broker kept over eight hours, drained; in one of them the power was cut.

A calm backlog changes nothing and is told of nothing. After a power cut every unit was on its
way past its limit, and how long was left is estimated from its rise: what that costs should not
keep anybody waiting who wants to know how the fish is now. Evaluation alone, in memory: readings
in, alarms and messages out; the journal's part is the same for both.
"""

import math
import sys
import time
from collections.abc import Callable

from harness import ROUNDS, Row, Timed, show, take_turns

from rimewatch.config import load_shop
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.intake.trace import TraceReading
from rimewatch.readings import Reading
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.vocabulary import ProbeId

START_MS = 1_772_438_400_000
"""2026-03-02T08:00:00Z."""
HOURS_BEFORE = 4
HOURS = 8
"""How long the broker kept what came."""


SHOP = """[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:1883"
[[contact]]
id = "first"
name = "Phone"
urls = ["json://127.0.0.1:9000/"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900
"""


def shop_text(units: int) -> str:
    """Return the configuration of a shop of cases with an air probe each."""
    tables = [SHOP]
    tables += [
        f'[[unit]]\nid = "u{n}"\nname = "u{n}"\nkind = "display-case"\n'
        f'[[probe]]\nid = "u{n}-air"\nunit = "u{n}"\nmeasures = "air"\ntopic = "shop/u{n}/air"\n'
        'format = "number"\nscale = "C"\nevery_s = 60\n'
        for n in range(units)
    ]
    return "\n".join(tables)


def celsius(unit: int, minute: int, *, cut: bool) -> float:
    """Return a unit's air: the swing of its compressor, and without power the way to the room."""
    swing_c = 0.4 * math.sin(minute / (9.0 + unit % 5) + unit)
    cold_c = 1.5 + 0.01 * (unit * 37 % 50) + swing_c
    out = minute - 60 * HOURS_BEFORE - 10
    if not cut or out < 0:
        return round(cold_c, 2)
    return round(22.0 - (22.0 - cold_c) * math.exp(-out / (240.0 + 7.0 * (unit % 20))), 2)


def readings(units: int, *, cut: bool) -> list[TraceReading]:
    """Return the calm hours before, each reading as it comes, and then the backlog at once."""
    found = []
    came_ms = START_MS + (HOURS_BEFORE + HOURS) * 3_600_000
    for minute in range((HOURS_BEFORE + HOURS) * 60):
        for unit in range(units):
            at_ms = START_MS + minute * 60_000 + unit
            value = celsius(unit, minute, cut=cut)
            arrived_ms = at_ms if minute < HOURS_BEFORE * 60 else came_ms
            reading = Reading(ProbeId(f"u{unit}-air"), at_ms, arrived_ms, value, value)
            found.append(TraceReading(arrived_ms, reading))
    return found


def draining(units: int, *, cut: bool) -> Callable[[], Timed]:
    """Return the work of taking a backlog in; the hours before it do not count."""
    shop, lines = load_shop(shop_text(units), sends=False), readings(units, cut=cut)
    before = HOURS_BEFORE * 60 * units

    def work() -> Timed:
        store = MemoryStore()
        evaluator = Evaluator(shop, store, lines[0].at_ms, describes=False)
        began = 0.0
        for place, line in enumerate(lines):
            if place == before:
                began = time.perf_counter()
            evaluator.advance(line.at_ms)
            if store.add(line.reading):
                evaluator.observe(line.reading)
            evaluator.take_outcomes()
        return Timed(len(lines) - before, time.perf_counter() - began)

    return work


def run(rounds: int = ROUNDS, units: int = 50) -> list[Row]:
    """Return readings a second, of a power cut and of a calm night."""
    turns = take_turns(
        {
            "power cut": draining(units, cut=True),
            "calm": draining(units, cut=False),
        },
        rounds,
    )
    row = Row(f"Backlog of a power cut, {units} units, {HOURS} h, evaluation", "readings/s")
    for label, done in turns.items():
        row.put_median(label, [one.work / one.seconds for one in done])
    return [row]


if __name__ == "__main__":
    if "--ledger" in sys.argv:
        shop = load_shop(shop_text(50), sends=False)
        print(
            ledger_document(replay(shop, readings(50, cut=True), summaries=False).ledger)["alarms"]
        )
    else:
        print(show(run(rounds=1)))
