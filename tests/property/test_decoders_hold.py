import io
import json
import math
from datetime import time

import cbor2
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from odd_payloads import ARRIVED_MS, NASTY, PROBES, holds, probe
from plain_shop import plain_shop
from rimewatch.intake.conversion import celsius
from rimewatch.intake.payload_limit import MAX_PAYLOAD_BYTES
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.topics import is_filter
from rimewatch.intake.trace import TraceError, read_trace
from rimewatch.readings import PAYLOAD_START_BYTES
from rimewatch.shop import Broker
from rimewatch.vocabulary import Measures, ProbeId, Scale

BOUNDED = settings(max_examples=200, deadline=None)


numbers = st.one_of(
    st.integers(),
    st.integers(min_value=-(10**400), max_value=10**400),
    st.floats(),
    st.sampled_from([2**28, 2**28 - 1, ARRIVED_MS, ARRIVED_MS // 1000, -127, 85]),
)
leaves = st.one_of(st.none(), st.booleans(), numbers, st.text(max_size=12))
documents = st.recursive(
    leaves,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(
            st.sampled_from(["t", "ts", "bat", "a", "n", "bn", "bt", "bu", "bv", "u", "v", "vb"]),
            inner,
            max_size=5,
        ),
    ),
    max_leaves=12,
)
labels = st.one_of(st.integers(min_value=-8, max_value=10), st.text(max_size=4))
cbor_packs = st.lists(st.dictionaries(labels, leaves, max_size=6), max_size=4)
senml_records = st.fixed_dictionaries(
    {"n": st.sampled_from(["t", "bat", "a b"])},
    optional={
        **dict.fromkeys(("bt", "bv", "t", "v", "bver"), numbers),
        "u": st.sampled_from(["Cel", "K", "%RH", "C", "/"]),
        "vb": st.booleans(),
        "vs": st.text(max_size=3),
    },
)
payloads = st.one_of(
    st.binary(max_size=200),
    st.text(max_size=60).map(lambda text: text.encode(errors="surrogatepass")),
    documents.map(lambda document: json.dumps(document).encode()),
    st.lists(senml_records, max_size=4).map(lambda pack: json.dumps(pack).encode()),
    cbor_packs.map(cbor2.dumps),
    st.tuples(documents, st.integers(0, 40)).map(lambda x: json.dumps(x[0]).encode()[: x[1]]),
)


@BOUNDED
@given(payloads)
def test_decoder_any_bytes_give_drafts_or_its_own_error(payload: bytes) -> None:
    """No bytes, however odd, stop the intake."""
    holds(payload)


@pytest.mark.parametrize("payload", NASTY, ids=range(len(NASTY)))
def test_decoder_nasty_bytes_give_drafts_or_its_own_error(payload: bytes) -> None:
    """Depth, size, huge numbers and self-reference are all survived."""
    holds(payload)


TEMPERATURES = {f"p{n}" for n, one in enumerate(PROBES) if one.measures is Measures.AIR}

RECEIVER = Receiver(
    plain_shop(
        name="Saltmarsh Row Fish",
        timezone="America/Chicago",
        display=Scale.CELSIUS,
        summary_at=time(6, 30),
        broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rime-1"),
        units=(),
        probes=tuple(
            probe(id=ProbeId(f"p{n}"), format=one.format, measures=one.measures, fields=one.fields)
            for n, one in enumerate(PROBES)
        ),
    )
)

topics = st.one_of(
    st.just("shop/case-1/air"),
    st.text(alphabet=st.characters(), max_size=80),  # any code point, lone surrogates included
    st.lists(st.sampled_from(["shop", "air", "", "+", "#", "$SYS", "\0"]), max_size=6).map(
        "/".join
    ),
)


@BOUNDED
@given(topics, payloads, st.booleans())
@example("/" * 65_535, b"2.1", False)
@example("shop/" + "x" * 65_000 + "/air", b"2.1", False)
def test_receiver_any_message_becomes_readings_or_quarantine(
    topic: str, payload: bytes, retained: bool
) -> None:
    """Every message leaves a trace that can be stored: nothing raises, nothing vanishes."""
    received = RECEIVER.receive(topic, payload, ARRIVED_MS, retained=retained)

    assert received.readings or received.quarantined
    for reading in received.readings:
        assert math.isfinite(reading.value)
        if reading.probe in TEMPERATURES:
            assert reading.value == round(reading.value, 3)
        assert -300_000 <= ARRIVED_MS - reading.observed_ms <= 30 * 86_400_000
    for kept in received.quarantined:
        kept.topic.encode()
        kept.detail.encode()
        assert len(kept.payload_start) <= PAYLOAD_START_BYTES
        assert kept.payload in (payload, None)
        assert kept.payload is not None or len(payload) > MAX_PAYLOAD_BYTES


@BOUNDED
@given(st.floats(-90, 60), st.floats(0.9, 1.1), st.floats(-2, 2), st.booleans())
@example(2.0005, 1.0, 0.0, False)
def test_conversion_is_the_rounded_exact_value(
    sent: float, slope: float, offset_c: float, is_fahrenheit: bool
) -> None:
    """Rounding once, in decimals, and by floats where they serve, never differ."""
    from decimal import ROUND_HALF_EVEN, Decimal

    exact = Decimal(repr(sent))
    if is_fahrenheit:
        exact = (exact - 32) * 5 / 9
    exact = exact * Decimal(repr(slope)) + Decimal(repr(offset_c))
    expected = float(exact.quantize(Decimal("0.001"), rounding=ROUND_HALF_EVEN))

    assert celsius(sent, is_fahrenheit=is_fahrenheit, slope=slope, offset_c=offset_c) == expected


@BOUNDED
@given(st.lists(payloads, max_size=4).map(b"\n".join))
def test_trace_any_bytes_give_lines_or_its_own_error(lines: bytes) -> None:
    """A file that is no trace is told, with its line, and breaks nothing."""
    told: list[int] = []
    try:
        list(read_trace(io.BytesIO(lines)))
    except TraceError as err:
        told.append(err.line)
    assert all(1 <= line <= lines.count(b"\n") + 1 for line in told)


@BOUNDED
@given(st.text(alphabet="ab/+#$\0", max_size=12))
def test_filter_is_one_exactly_if_the_client_library_takes_it(text: str) -> None:
    """What our check lets through, the client library does not choke on."""
    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion

    if not is_filter(text):
        return
    client = Client(CallbackAPIVersion.VERSION2)
    client.subscribe(text, 1)  # ValueError if it is no filter
