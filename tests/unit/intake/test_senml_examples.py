"""The examples of RFC 8428, section 5.1, resolved; and packs that another library made.

The expected records are those of the RFC: section 5.1.4 prints them for 5.1.3, the others
follow from section 4.6. The library is ``kpn-senml``, which is no work of ours.
"""

import json
from typing import Any

import kpn_senml
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intake_shop import ARRIVED_MS, probe

from rimewatch.intake.decoders import make_decoder
from rimewatch.intake.decoders.senml import resolve
from rimewatch.intake.decoders.senml_pack import load_pack

OW = "urn:dev:ow:10e2073a01080063"
OTHER = "urn:dev:ow:10e2073a0108006"
MONDAY = 1320067464

EXAMPLES: dict[str, tuple[list[dict[str, Any]], list[tuple[Any, ...]]]] = {
    "5.1.1": ([{"n": OW, "u": "Cel", "v": 23.1}], [(OW, "Cel", 0, 23.1)]),
    "5.1.2, first": (
        [
            {"bn": f"{OW}:", "n": "voltage", "u": "V", "v": 120.1},
            {"n": "current", "u": "A", "v": 1.2},
        ],
        [(f"{OW}:voltage", "V", 0, 120.1), (f"{OW}:current", "A", 0, 1.2)],
    ),
    "5.1.2, second": (
        [
            {
                "bn": f"{OTHER}:",
                "bt": 1.276020076001e09,
                "bu": "A",
                "bver": 5,
                "n": "voltage",
                "u": "V",
                "v": 120.1,
            },
            *({"n": "current", "t": t, "v": v} for t, v in ((-5, 1.2), (-4, 1.3), (-3, 1.4))),
            *({"n": "current", "t": t, "v": v} for t, v in ((-2, 1.5), (-1, 1.6))),
            {"n": "current", "v": 1.7},
        ],
        [
            (f"{OTHER}:voltage", "V", 1276020076.001, 120.1),
            *((f"{OTHER}:current", "A", 1276020071.001 + n, (12 + n) / 10) for n in range(6)),
        ],
    ),
    "5.1.3 and 5.1.4": (
        [
            {"bn": OW, "bt": MONDAY, "bu": "%RH", "v": 20},
            {"u": "lon", "v": 24.30621},
            {"u": "lat", "v": 60.07965},
            {"t": 60, "v": 20.3},
            {"u": "lon", "t": 60, "v": 24.30622},
            {"u": "lat", "t": 60, "v": 60.07965},
            {"t": 120, "v": 20.7},
            {"u": "lon", "t": 120, "v": 24.30623},
            {"u": "lat", "t": 120, "v": 60.07966},
            {"u": "%EL", "t": 150, "v": 98},
            {"t": 180, "v": 21.2},
            {"u": "lon", "t": 180, "v": 24.30628},
            {"u": "lat", "t": 180, "v": 60.07967},
        ],
        [
            (OW, "%RH", 1320067464, 20),
            (OW, "lon", 1320067464, 24.30621),
            (OW, "lat", 1320067464, 60.07965),
            (OW, "%RH", 1320067524, 20.3),
            (OW, "lon", 1320067524, 24.30622),
            (OW, "lat", 1320067524, 60.07965),
            (OW, "%RH", 1320067584, 20.7),
            (OW, "lon", 1320067584, 24.30623),
            (OW, "lat", 1320067584, 60.07966),
            (OW, "%EL", 1320067614, 98),
            (OW, "%RH", 1320067644, 21.2),
            (OW, "lon", 1320067644, 24.30628),
            (OW, "lat", 1320067644, 60.07967),
        ],
    ),
    "5.1.5": (
        [
            {"bn": f"{OW}:", "n": "temp", "u": "Cel", "v": 23.1},
            {"n": "label", "vs": "Machine Room"},
            {"n": "open", "vb": False},
            {"n": "nfc-reader", "vd": "aGkgCg"},
        ],
        [
            (f"{OW}:temp", "Cel", 0, 23.1),
            (f"{OW}:label", None, 0, None),  # texts and data are no readings
            (f"{OW}:open", None, 0, False),
            (f"{OW}:nfc-reader", None, 0, None),
        ],
    ),
    "5.1.6": (
        [
            {"bn": "2001:db8::2/", "bt": 1320078429, "n": "temperature", "u": "Cel", "v": 25.2},
            {"n": "humidity", "u": "%RH", "v": 30},
            {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
            {"n": "humidity", "u": "%RH", "v": 67},
        ],
        [
            ("2001:db8::2/temperature", "Cel", 1320078429, 25.2),
            ("2001:db8::2/humidity", "%RH", 1320078429, 30),
            ("2001:db8::1/temperature", "Cel", 1320078429, 12.3),
            ("2001:db8::1/humidity", "%RH", 1320078429, 67),
        ],
    ),
    "5.1.7, a thermostat; its wording from memory": (
        [
            {"bn": f"{OW}:"},
            {"n": "temp", "u": "Cel", "v": 23.1},
            {"n": "heat", "u": "/", "v": 1},
            {"n": "fan", "u": "/", "v": 0},
        ],
        [
            (f"{OW}:", None, 0, None),  # a base alone is no reading
            (f"{OW}:temp", "Cel", 0, 23.1),
            (f"{OW}:heat", "/", 0, 1),
            (f"{OW}:fan", "/", 0, 0),
        ],
    ),
}


@pytest.mark.parametrize("section", EXAMPLES)
def test_senml_example_of_the_standard_is_resolved_as_it_says(section: str) -> None:
    """Names, units, times and values; a time of 0 is now (4.5.3)."""
    pack, expected = EXAMPLES[section]
    resolved = resolve(load_pack(json.dumps(pack).encode()))

    assert [(r.name, r.unit, pytest.approx(r.time_s, abs=5e-4), r.value) for r in resolved] == (
        expected
    )


CELSIUS = kpn_senml.SenmlUnits.SENML_UNIT_DEGREES_CELSIUS
NOW_S = ARRIVED_MS // 1000
readings = st.lists(
    st.tuples(st.integers(NOW_S - 86_400, NOW_S), st.floats(-90, 60)),
    min_size=1,
    max_size=20,
    unique_by=lambda pair: pair[0],
)


@given(
    readings,
    st.integers(NOW_S - 86_400, NOW_S),
    st.one_of(st.none(), st.floats(-50, 50)),
    st.sampled_from(["to_json", "to_cbor"]),
)
def test_pack_of_another_library_gives_the_readings_it_was_made_of(
    sent: list[tuple[int, float]], base_time_s: int, base_value: float | None, form: str
) -> None:
    """With base name, base time, base value and base unit, as JSON and as CBOR."""
    pack = kpn_senml.SenmlPack("case-1:")
    pack.base_time, pack.base_unit, pack.base_value = base_time_s, CELSIUS, base_value
    for at_s, celsius in sent:
        pack.add(kpn_senml.SenmlRecord("air", time=at_s, value=celsius))
    pack.add(kpn_senml.SenmlRecord("door", value=True))
    made = getattr(pack, form)()

    decoder = make_decoder(probe(format="senml", fields={"value": "case-1:air"}))
    drafts = decoder(made.encode() if isinstance(made, str) else made, ARRIVED_MS)

    assert [(d.observed_ms, pytest.approx(d.value, abs=1e-9)) for d in drafts] == [
        (at_s * 1000, celsius) for at_s, celsius in sorted(sent)
    ]


def test_senml_pack_whose_first_record_is_a_base_alone_gives_the_reading_after_it() -> None:
    """RFC 8428, section 5.1.7: the base names what follows, and is no broken reading."""
    pack, _ = EXAMPLES["5.1.7, a thermostat; its wording from memory"]
    decode = make_decoder(probe(format="senml", fields={}))

    assert [d.value for d in decode(json.dumps(pack).encode(), ARRIVED_MS)] == [23.1]
