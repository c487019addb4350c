"""The core of a replay without its summaries: what property tests run some thousand times."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.ledger import Account, build_ledger
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.trace import TraceEntry, TraceMessage
from rimewatch.report.ledger_json import ledger_document
from rimewatch.shop import Shop

DEPENDS_ON_ARRIVAL = ("alarms", "messages")
"""The ledger's keys that may depend on when readings arrived."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreRun:
    """What is left after a trace."""

    ledger: dict[str, Any]
    evaluator: Evaluator
    store: MemoryStore
    to_ms: int


def run_core(shop: Shop, trace: Iterable[TraceMessage | TraceEntry]) -> CoreRun:
    """Evaluate a trace as a replay does, and build its ledger without alarms and messages.

    Entries are taken as a journal's are: on the books already, judged and not refused.
    """
    receiver, store = Receiver(shop), MemoryStore()
    lines = list(trace)
    evaluator = Evaluator(shop, store, lines[0].at_ms)
    instants: list[int] = []
    for line in lines:
        evaluator.advance(line.at_ms)
        if isinstance(line, TraceEntry):
            evaluator.enter(line.entry)
            instants.append(line.at_ms)
            continue
        readings = receiver.receive(line.topic, line.payload, line.at_ms).readings
        instants.extend(reading.observed_ms for reading in readings)
        for reading in readings:
            if store.add(reading):
                evaluator.observe(reading)
    to_ms = max(instants)
    evaluator.finish(max(lines[-1].at_ms, to_ms))
    account = Account(entries=evaluator.entries, batteries=evaluator.batteries)
    ledger = build_ledger(shop, store, account, from_ms=min(instants), to_ms=to_ms)
    return CoreRun(ledger=ledger_document(ledger), evaluator=evaluator, store=store, to_ms=to_ms)


def readings_part(ledger: dict[str, Any]) -> dict[str, Any]:
    """Return what of a ledger may depend on the readings alone."""
    kept = {key: value for key, value in ledger.items() if key not in DEPENDS_ON_ARRIVAL}
    kept["units"] = {
        unit: {
            **record,
            "excursions": [
                {k: v for k, v in e.items() if k not in ("alarmed", "found_late")}
                for e in record["excursions"]
            ],
        }
        for unit, record in ledger["units"].items()
    }
    return kept
