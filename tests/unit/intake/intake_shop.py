"""A shop of a few probes, for the tests of what arrives."""

from datetime import time
from typing import Any

from plain_shop import plain_shop
from rimewatch.intake.receiver import Receiver
from rimewatch.shop import Broker, Probe, Shop
from rimewatch.vocabulary import Measures, ProbeId, Scale, UnitId

ARRIVED_MS = 1_772_438_400_000
"""2026-03-02T08:00:00Z."""

TOPIC = "shop/case-1/air"


def probe(**changes: Any) -> Probe:
    """Return an air probe that sends JSON in °C, with some things changed."""
    usual: dict[str, Any] = {
        "id": ProbeId("case-1-air"),
        "unit": UnitId("case-1"),
        "measures": Measures.AIR,
        "topic": TOPIC,
        "format": "json",
        "fields": {"value": "t", "time": "ts", "battery": "bat"},
        "scale": Scale.CELSIUS,
        "every_s": 60.0,
        "stale_s": 180.0,
        "uncertainty_c": 0.3,
        "offset_c": 0.0,
        "slope": 1.0,
        "check_every_days": 180.0,
        "plausible_c": (-90.0, 60.0),
    }
    return Probe(**{**usual, **changes})


def shop(*probes: Probe) -> Shop:
    """Return a shop with these probes."""
    return plain_shop(
        name="Saltmarsh Row Fish",
        timezone="America/Chicago",
        display=Scale.FAHRENHEIT,
        summary_at=time(6, 30),
        broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rime-1"),
        units=(),
        probes=probes,
    )


def receiver(*probes: Probe, **changes: Any) -> Receiver:
    """Return a receiver for these probes, or for one probe with some things changed."""
    return Receiver(shop(*(probes or (probe(**changes),))))
