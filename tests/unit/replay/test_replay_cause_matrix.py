"""Causes in the ledger against the true ones, over seeded stories of one trouble each."""

import random
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

from rimewatch.config import load_shop
from rimewatch.evaluation.ledger import Account, build_ledger
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.intake.receiver import Receiver
from rimewatch.report.ledger_json import ledger_document
from rimewatch_sim.scenario import Scenario, shop_table
from rimewatch_sim.simulation import simulate
from rimewatch_sim.timeline import utc_text

EXAMPLE = Path(__file__).parents[3] / "config" / "saltmarsh-row.toml"
STORIES = 4
"""Of each kind: enough to see a threshold that is off, few enough to run each time."""


def story(kind: str, seed: int) -> tuple[str, Scenario]:
    """Return the unit and the scenario of one trouble, its size and time left to chance."""
    chance = random.Random(f"{kind}/{seed}")
    unit = chance.choice(["case-1", "walk-in"])
    # From 15:30 to 19:00 no unit of the shop has its defrost.
    minute = chance.randrange(15 * 60 + 30, 19 * 60)
    at = f"2026-03-02T{minute // 60:02}:{minute % 60:02}"
    event: dict[str, Any] = {"at": at, "unit": unit}
    if kind == "door":
        event |= {"do": "door-open", "lasts": f"{chance.randrange(1500, 3600)}s"}
    elif kind == "defrost":
        event |= {"do": "defrost", "lasts": f"{chance.randrange(1500, 2300)}s"}
    elif kind == "cooling-failure":
        event |= {"do": "compressor-failure", "lasts": f"{chance.randrange(9000, 20_000)}s"}
    else:
        event = {"do": "power-loss", "at": at, "lasts": f"{chance.randrange(6000, 12_000)}s"}
    table = {
        **shop_table("saltmarsh-row", source="a test"),
        "name": f"{kind}-{seed}",
        "about": "one trouble",
        "start": "2026-03-02T12:30",
        "lasts": "11h",
        "seed": seed,
        "ambient_c": 23.0,
        "event": [event],
    }
    return unit, Scenario.model_validate(table)


@cache
def matrix() -> Counter[tuple[str, str]]:
    """Return how often each true cause was given each verdict."""
    shop = load_shop(EXAMPLE.read_text(encoding="utf-8"))
    found: Counter[tuple[str, str]] = Counter()
    for kind in ("door", "defrost", "cooling-failure", "power-loss"):
        for seed in range(STORIES):
            unit, scenario = story(kind, seed)
            store, receiver = MemoryStore(), Receiver(shop)
            for line in simulate(scenario).lines():
                assert line.topic is not None, "nobody enters anything in these stories"
                for reading in receiver.receive(line.topic, line.payload, line.at_ms).readings:
                    store.add(reading)
            ledger = ledger_document(
                build_ledger(
                    shop, store, Account(), from_ms=scenario.start_ms, to_ms=scenario.end_ms
                )
            )
            begins = utc_text(scenario.at_ms(scenario.event[0].at))
            for name, record in ledger["units"].items():
                if kind != "power-loss" and name != unit:
                    continue
                for excursion in record["excursions"]:
                    if excursion["start"] >= begins:
                        found[kind, excursion["cause"]] += 1
    return found


def test_causes_are_found_more_often_than_not_by_far() -> None:
    """Nine in ten, and each kind of trouble was met."""
    found = matrix()
    right = sum(count for (true, said), count in found.items() if true == said)

    assert {true for true, _ in found} == {"door", "defrost", "cooling-failure", "power-loss"}
    assert right >= 0.9 * sum(found.values()), dict(found)


def test_failure_is_never_put_down_to_a_door() -> None:
    """That mistake costs the fish: somebody shuts a door and goes back to bed."""
    found = matrix()

    assert found["cooling-failure", "door"] == 0
    assert found["power-loss", "door"] == 0
    assert found["power-loss", "power-loss"] > 0
