import json
from typing import Any

import cbor2
import pytest
from intake_shop import ARRIVED_MS, probe

from rimewatch.intake.decoders import Draft, TimeOrigin, Undecodable, UnusableProbe, make_decoder
from rimewatch.intake.decoders.senml import resolve
from rimewatch.intake.decoders.senml_pack import load_pack
from rimewatch.vocabulary import Measures, Scale

Pack = list[dict[str, object]]

PACK_5_1_1: Pack = [{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}]
"""RFC 8428, section 5.1.1."""

PACK_5_1_2: Pack = [
    {
        "bn": "urn:dev:ow:10e2073a0108006:",
        "bt": 1276020076.001,
        "bu": "A",
        "bver": 5,
        "n": "voltage",
        "u": "V",
        "v": 120.1,
    },
    {"n": "current", "t": -5, "v": 1.2},
    {"n": "current", "t": -4, "v": 1.3},
    {"n": "current", "v": 1.7},
]
"""RFC 8428, section 5.1.2, second example, shortened."""

PACK_5_1_6: Pack = [
    {
        "bn": "2001:db8::2/",
        "bt": 1320078429,
        "n": "temperature",
        "u": "Cel",
        "v": 25.2,
    },
    {"n": "humidity", "u": "%RH", "v": 30},
    {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
    {"n": "humidity", "u": "%RH", "v": 67},
]
"""RFC 8428, section 5.1.6."""


def decode(pack: object, **changes: Any) -> list[Draft]:
    """Decode a pack, written as JSON, for a probe."""
    decoder = make_decoder(probe(**{"format": "senml", "fields": {}, **changes}))
    return list(decoder(json.dumps(pack).encode(), ARRIVED_MS))


def test_senml_single_value_without_time_is_now() -> None:
    """RFC 8428, section 5.1.1: no time means now."""
    assert decode(PACK_5_1_1) == [Draft(23.1, None, None, TimeOrigin.ABSENT)]


def test_senml_base_fields_hold_for_their_record_and_all_later_ones() -> None:
    """RFC 8428, section 5.1.2: names, units and times resolved as in the generated file."""
    resolved = resolve(load_pack(json.dumps(PACK_5_1_2).encode()))

    assert [(r.name[-7:], r.unit, round(r.time_s, 3), r.value) for r in resolved] == [
        ("voltage", "V", 1276020076.001, 120.1),
        ("current", "A", 1276020071.001, 1.2),
        ("current", "A", 1276020072.001, 1.3),
        ("current", "A", 1276020076.001, 1.7),
    ]


def test_senml_second_base_name_replaces_the_first_and_base_time_stays() -> None:
    """RFC 8428, section 5.1.6: a collection of two devices."""
    drafts = decode(PACK_5_1_6, fields={"value": "2001:db8::1/temperature"})

    assert drafts == [Draft(12.3, 1_320_078_429_000, None, TimeOrigin.OWN)]


def test_senml_backlog_comes_out_oldest_first() -> None:
    """RFC 8428, section 4.6: records are in chronological order once resolved."""
    pack = [
        {"bn": "probe:", "bt": 1772438400, "u": "Cel", "n": "t", "v": 2.3},
        {"n": "t", "u": "Cel", "t": -60, "v": 2.2},
        {"n": "t", "u": "Cel", "t": -120, "v": 2.1},
    ]
    assert [(d.observed_ms, d.value) for d in decode(pack)] == [
        (ARRIVED_MS - 120_000, 2.1),
        (ARRIVED_MS - 60_000, 2.2),
        (ARRIVED_MS, 2.3),
    ]


@pytest.mark.parametrize(
    ("time", "expected"),
    [
        (2**28, (268_435_456_000, TimeOrigin.OWN)),
        (2**28 - 1, (ARRIVED_MS + 268_435_455_000, TimeOrigin.RELATIVE)),
        (-5.5, (ARRIVED_MS - 5500, TimeOrigin.RELATIVE)),
        (0, (None, TimeOrigin.ABSENT)),
    ],
)
def test_senml_time_below_2_to_the_28_is_relative_to_the_arrival(
    time: object, expected: object
) -> None:
    """RFC 8428, section 4.5.3: the edge is 2^28, 1978-07-04T21:24:16Z."""
    (draft,) = decode([{"n": "t", "u": "Cel", "t": time, "v": 2.1}])

    assert (draft.observed_ms, draft.origin) == expected


def test_senml_base_value_is_added() -> None:
    """RFC 8428, section 4.5.4: sums of base value and value, a missing one is 0."""
    pack = [{"bn": "p", "bu": "Cel", "bv": 2.0, "v": 0.5}, {"t": 1.0, "v": 0.25}]

    assert [draft.value for draft in decode(pack)] == [2.5, 2.25]
    assert [draft.value for draft in decode([{"bn": "p", "bu": "Cel", "bv": 2.0}])] == [2.0]


def test_senml_kelvin_is_converted() -> None:
    """K is a unit of the registry; the fish is in °C."""
    (draft,) = decode([{"n": "t", "u": "K", "v": 275.15}])

    assert draft.value == pytest.approx(2.0, abs=1e-9)


@pytest.mark.parametrize("unit", ["C", "degC", "F", "far", "V", None, "cel"])
def test_senml_unknown_unit_is_refused(unit: str | None) -> None:
    """C is the coulomb, and degrees Fahrenheit have no unit there: nothing is guessed."""
    record = {"n": "t", "v": 2.1, **({} if unit is None else {"u": unit})}
    with pytest.raises(Undecodable, match="expected Cel or K"):
        decode([record], fields={"value": "t"})


def test_senml_humidity_and_contacts_have_units_of_their_own() -> None:
    """A humidity probe sends %RH; a door a boolean or a ratio."""
    assert decode(
        PACK_5_1_6, measures=Measures.HUMIDITY, fields={"value": "2001:db8::2/humidity"}
    ) == [Draft(30.0, 1_320_078_429_000, None, TimeOrigin.OWN)]
    assert decode([{"n": "door", "vb": True}], measures=Measures.DOOR)[0].value == 1.0
    assert decode([{"n": "door", "u": "/", "v": 0}], measures=Measures.DOOR)[0].value == 0.0


def test_senml_battery_is_found_by_name() -> None:
    """The battery may be a record of the same pack."""
    pack = [{"bn": "p:", "n": "t", "u": "Cel", "v": 2.1}, {"n": "bat", "u": "%EL", "v": 87}]

    assert decode(pack, fields={"battery": "bat"})[0].battery == 87.0


@pytest.mark.parametrize(
    ("pack", "what"),
    [
        ({}, "a group of 0; expected a SenML pack"),
        ([], "a list of 0; expected a SenML pack"),
        ([1], "the pack holds 1; expected only records"),
        ([{"n": "t", "u": "Cel", "v": "2.1"}], "v is '2.1'; expected a number"),
        ([{"n": "t", "u": "Cel", "v": True}], "v is True; expected a number"),
        ([{"n": "t", "u": "Cel", "vs": "warm"}], "no record with a value in Cel or K"),
        ([{"n": "t", "u": "Cel", "v": 2.1, "must_": 1}], "'must_' must be understood"),
        ([{"n": "t", "bver": 11, "u": "Cel", "v": 2.1}], "bver is 11; expected at most 10"),
        ([{"u": "Cel", "v": 2.1}], "a record's name is ''"),
        ([{"n": "t t", "u": "Cel", "v": 2.1}], "a record's name is 't t'"),
        ([{"n": "t", "u": "Cel", "v": 2.1, "t": 1e300}], "t is 1e"),
        ([{"n": "t", "u": 7, "v": 2.1}], "u is 7; expected text"),
        (PACK_5_1_6, "of 2 sensors; name one in fields.value"),
    ],
)
def test_senml_pack_that_breaks_the_rules_is_refused(pack: object, what: str) -> None:
    """What RFC 8428 does not allow is not read as if it did."""
    with pytest.raises(Undecodable) as refused:
        decode(pack)
    assert what in str(refused.value)


def test_senml_label_given_twice_is_refused() -> None:
    """Nobody can tell which of two values holds."""
    decoder = make_decoder(probe(format="senml", fields={}))
    with pytest.raises(Undecodable, match="stands twice"):
        decoder(b'[{"n": "t", "u": "Cel", "v": 2.1, "v": 9.1}]', ARRIVED_MS)


def test_senml_unknown_label_is_passed_over() -> None:
    """RFC 8428, section 4.4: an extension that need not be understood is ignored."""
    assert decode([{"n": "t", "u": "Cel", "v": 2.1, "ut": 60, "note": []}])[0].value == 2.1


def test_senml_in_cbor_is_the_same_pack() -> None:
    """RFC 8428, section 6: integers stand for the labels."""
    pack = [{-2: "probe:", -3: 1772438400, -4: "Cel", 0: "t", 2: 2.1}, {0: "t", 6: -60, 2: 2.2}]
    drafts = make_decoder(probe(format="senml", fields={}))(cbor2.dumps(pack), ARRIVED_MS)

    assert [(d.observed_ms, d.value) for d in drafts] == [
        (ARRIVED_MS - 60_000, 2.2),
        (ARRIVED_MS, 2.1),
    ]


@pytest.mark.parametrize(
    ("changes", "what"),
    [({"scale": Scale.FAHRENHEIT}, "remove scale"), ({"fields": {"time": "ts"}}, "fields.time")],
)
def test_senml_probe_with_a_scale_or_time_of_its_own_is_refused(
    changes: dict[str, Any], what: str
) -> None:
    """The pack names unit and time; a configuration that names others would be ignored."""
    with pytest.raises(UnusableProbe, match=what):
        make_decoder(probe(**{"format": "senml", "fields": {}, **changes}))
