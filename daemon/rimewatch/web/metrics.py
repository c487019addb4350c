"""Counts and gauges for whoever watches the machine. Pure.

References:
    [1] OpenMetrics 1.0, text format: a family has a type and help, a label's value escapes
        backslash, quote and line feed, and the text ends with "# EOF".
"""

from collections.abc import Iterator
from typing import Final

from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S, Priority
from rimewatch.web.live import Snapshot
from rimewatch.web.unit_views import is_behind

CONTENT_TYPE: Final = "application/openmetrics-text; version=1.0.0; charset=utf-8"


def metrics_text(shop: Shop, snapshot: Snapshot, at_ms: int) -> str:
    """Return the figures of a snapshot."""
    return "\n".join([*_watch(snapshot, at_ms), *_units(shop, snapshot, at_ms), "# EOF", ""])


def _watch(snapshot: Snapshot, at_ms: int) -> Iterator[str]:
    health = snapshot.health
    yield from _family("rimewatch_at_work", "gauge", "Whether time was followed lately.")
    yield f"rimewatch_at_work {0 if is_behind(snapshot, at_ms) else 1}"
    yield from _family("rimewatch_listening", "gauge", "Whether the broker confirmed us.")
    yield f"rimewatch_listening {int(health.listening)}"
    yield from _family("rimewatch_arrivals", "counter", "Messages taken in since the start.")
    yield f"rimewatch_arrivals_total {health.arrivals}"
    yield from _family("rimewatch_waiting_arrivals", "gauge", "Messages that wait to be judged.")
    yield f"rimewatch_waiting_arrivals {health.waiting_arrivals}"
    yield from _family("rimewatch_late", "gauge", "Whether recording has lain behind for long.")
    yield f"rimewatch_late {int(health.is_late)}"
    for name, what, value_s in (
        ("delay", "From arrival to the disk, of the last batch's oldest.", health.delay_s),
        ("batch", "How long the last batch took.", health.batch_s),
        ("disk", "How long the disk took of it.", health.disk_s),
    ):
        yield from _family(f"rimewatch_{name}_seconds", "gauge", what, "seconds")
        yield f"rimewatch_{name}_seconds {value_s:.3f}"
    yield from _family("rimewatch_waiting_messages", "gauge", "Messages to people that wait.")
    yield f"rimewatch_waiting_messages {health.outbox_waiting}"
    yield from _family("rimewatch_journal_bytes", "gauge", "Size of the journal.", "bytes")
    yield f"rimewatch_journal_bytes {health.journal_bytes}"
    yield from _family("rimewatch_alarms", "gauge", "Alarms that are on, by priority.")
    for priority in Priority:
        count = sum(a.active and a.priority is priority for a in snapshot.alarms)
        yield f'rimewatch_alarms{{priority="{priority.value}"}} {count}'


def _units(shop: Shop, snapshot: Snapshot, at_ms: int) -> Iterator[str]:
    known = [now for now in snapshot.units if now.fish_c is not None and now.at_ms is not None]
    yield from _family("rimewatch_fish_celsius", "gauge", "Temperature of the fish.", "celsius")
    for now in known:
        yield f"rimewatch_fish_celsius{{{_unit(now.unit)}}} {now.fish_c:.3f}"
    yield from _family("rimewatch_limit_celsius", "gauge", "Critical limit.", "celsius")
    for unit in shop.units:
        yield f"rimewatch_limit_celsius{{{_unit(unit.id)}}} {unit.limit_c:g}"
    yield from _family("rimewatch_age_seconds", "gauge", "Age of the last reading.", "seconds")
    for now in known:
        assert now.at_ms is not None, "only units that were heard are known"
        age_s = max(0.0, (at_ms - now.at_ms) / MS_PER_S)
        yield f"rimewatch_age_seconds{{{_unit(now.unit)}}} {age_s:.0f}"


def _family(name: str, kind: str, what: str, measured_in: str = "") -> Iterator[str]:
    yield f"# TYPE {name} {kind}"
    if measured_in:
        yield f"# UNIT {name} {measured_in}"
    yield f"# HELP {name} {what}"


def _unit(unit: str) -> str:
    said = unit.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'unit="{said}"'
