"""Payloads that probes do not send, and what must hold of every decoder whatever it is given."""

import math
from collections.abc import Sequence
from datetime import time
from typing import Any

import pysparkplug

from plain_shop import plain_shop
from rimewatch.intake.decoders import Decoder, Draft, Undecodable, make_decoder
from rimewatch.intake.receiver import Receiver
from rimewatch.shop import Broker, Mark, Probe
from rimewatch.vocabulary import Measures, ProbeId, Scale, UnitId

ARRIVED_MS = 1_772_438_400_000


def probe(**changes: Any) -> Probe:
    """Return a probe with some things changed."""
    usual: dict[str, Any] = {
        "id": ProbeId("p"),
        "unit": UnitId("u"),
        "measures": Measures.AIR,
        "topic": "shop/+/air",
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


PROBES = [
    probe(format=form, measures=measures, fields=fields)
    for measures in (Measures.AIR, Measures.DOOR, Measures.HUMIDITY)
    for form, fields in (
        ("number", {}),
        ("json", {"value": "t", "time": "ts", "battery": "bat"}),
        ("json", {"value": "a.t", "time": "max(ts)", "battery": "sum(bat)"}),
        ("json", {"value": "a[].t", "time": "a[].ts"}),
        ("json", {"value": "avg(t)", "time": "ts[0]", "battery": "to_number(bat)"}),
        ("senml", {}),
        ("senml", {"value": "t", "battery": "bat"}),
    )
]

NASTY = [
    b"",
    b"[" * 60_000,
    b"\x81" * 60_000,
    b'{"t":' * 20_000,
    b"\x9b" + b"\xff" * 8,
    b"\xd8\x1c\x81\xd8\x1d\x00",  # a list that contains itself
    b"\x81\xa2\x00\x61t\x02\xd8\x1d\x00",  # a value that refers to nothing
    b"\x81\xa3\x00\x61t\x01\x63Cel\x02\xc4\x82\x3b\x7f\xff\xff\xff\xff\xff\xff\xff\x01",
    b"\x81\xa3\x00\x61t\x01\x63Cel\x02\xc4\x82\x1a\x00\x0f\x42\x40\x01",  # 1 × 10^1000000
    b'{"t": 1e999}',
    b'{"t": ' + b"9" * 4000 + b', "ts": ' + b"9" * 4000 + b"}",
    b'{"t": 2.1, "ts": "0001-01-01T00:00:00+23:59"}',
    b'{"t": ["\\ud83d\\ude00"]}',
    "٢".encode(),
    b"1e" + b"9" * 9,
]


def read(decode: Decoder, payload: bytes) -> Sequence[Draft] | None:
    """Return the drafts, or None where the decoder says that there are none."""
    try:
        return decode(payload, ARRIVED_MS)
    except Undecodable as err:
        message = str(err)
        assert 0 < len(message) < 400, "a message for people, not the payload again"
        return None


def holds(payload: bytes) -> None:
    """Check that every decoder gives drafts or its own error, and nothing else."""
    for one in PROBES:
        drafts = read(make_decoder(one), payload)
        if drafts is None:
            continue
        assert len(drafts) > 0
        for draft in drafts:
            assert type(draft.value) is float
            assert draft.battery is None or math.isfinite(draft.battery)
            assert draft.observed_ms is None or type(draft.observed_ms) is int
            assert not one.measures.is_contact or draft.value in (0.0, 1.0)


NODE = "spBv1.0/fish/{}/node-1"
SPARKPLUG: list[Probe] = [
    probe(
        id=ProbeId("s"),
        format="sparkplug",
        topic="spBv1.0/fish/+/node-1/case-1",
        fields={"value": "T", "battery": "B"},
    )
]
MARKED = [
    probe(id=ProbeId(name), topic="gw", match=Mark(field="id", equals=name)) for name in ("a", "b")
]


def any_receiver() -> Receiver:
    """Return a receiver of a shop with a Sparkplug node and two probes on one topic."""
    return Receiver(
        plain_shop(
            name="Saltmarsh Row Fish",
            timezone="America/Chicago",
            display=Scale.CELSIUS,
            summary_at=time(6, 30),
            broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rime-1"),
            units=(),
            probes=(*SPARKPLUG, *MARKED),
        )
    )


def sound_messages() -> list[tuple[str, bytes]]:
    """Return sound messages of a node, as a client library writes them."""
    metric = pysparkplug.Metric(ARRIVED_MS, "T", pysparkplug.DataType.FLOAT, 2.0, alias=7)
    count = pysparkplug.Metric(ARRIVED_MS, "bdSeq", pysparkplug.DataType.INT64, 3)
    return [
        (
            NODE.format("NBIRTH"),
            pysparkplug.NBirth(ARRIVED_MS, 0, (count,)).encode(include_dtypes=True),
        ),
        (
            NODE.format("DBIRTH") + "/case-1",
            pysparkplug.DBirth(ARRIVED_MS, 1, (metric,)).encode(include_dtypes=True),
        ),
        (NODE.format("DDATA") + "/case-1", pysparkplug.DData(ARRIVED_MS, 2, (metric,)).encode()),
        (NODE.format("NDEATH"), pysparkplug.NDeath(ARRIVED_MS, count).encode()),
        ("gw", b'{"id": "a", "t": 2.0, "ts": 1772438400}'),
    ]
