from typing import Any

import pysparkplug
import pytest
from intake_shop import ARRIVED_MS, probe, shop
from pysparkplug import DataType

from rimewatch.intake.decoders import UnusableProbe
from rimewatch.intake.receiver import Received, Receiver
from rimewatch.intake.sparkplug.payload import read_payload
from rimewatch.readings import Reason
from rimewatch.vocabulary import Measures, ProbeId, Unread

NODE = "spBv1.0/fish/{}/node-1"
DEVICE = "spBv1.0/fish/{}/node-1/case-1"
OURS = "spBv1.0/fish/+/node-1/case-1"


def metric(name: str | None, value: Any, kind: DataType = DataType.FLOAT, **more: Any) -> Any:
    at_ms = more.pop("at_ms", ARRIVED_MS)
    return pysparkplug.Metric(at_ms, name, kind, value, **more)


def nbirth(seq: int = 0, bd_seq: int = 8) -> bytes:
    born = metric("bdSeq", bd_seq, DataType.INT64)
    return pysparkplug.NBirth(ARRIVED_MS, seq, (born,)).encode(include_dtypes=True)


def ndeath(bd_seq: int) -> bytes:
    return pysparkplug.NDeath(ARRIVED_MS, metric("bdSeq", bd_seq, DataType.INT64)).encode()


def dbirth(seq: int, *metrics: Any) -> bytes:
    return pysparkplug.DBirth(ARRIVED_MS, seq, metrics).encode(include_dtypes=True)


def ddata(seq: int, *metrics: Any) -> bytes:
    return pysparkplug.DData(ARRIVED_MS, seq, metrics).encode(include_dtypes=False)


class Node:
    """A receiver for one probe, and the messages of its node."""

    def __init__(self, **changes: Any) -> None:
        usual = {"format": "sparkplug", "topic": OURS, "fields": {"value": "T", "battery": "B"}}
        self.receiver = Receiver(shop(probe(**{**usual, **changes})))
        self.at_ms = ARRIVED_MS

    def say(self, kind: str, payload: bytes) -> Received:
        topic = (NODE if kind[0] == "N" else DEVICE).format(kind)
        return self.receiver.receive(topic, payload, self.at_ms)

    def be_born(self, seq: int = 0, kind: DataType = DataType.FLOAT, value: Any = 2.0) -> Received:
        self.say("NBIRTH", nbirth(seq))
        return self.say("DBIRTH", dbirth(seq + 1, metric("T", value, kind, alias=7)))

    def data(self, seq: int, value: float = 2.5, **more: Any) -> Received:
        return self.say("DDATA", ddata(seq, metric(None, value, alias=7, **more)))


def values(received: Received) -> list[float]:
    return [reading.value for reading in received.readings]


class TestBirthAndData:
    def test_birth_carries_a_reading_with_its_own_time(self) -> None:
        """The value of a birth is a reading like any other."""
        node = Node()
        node.say("NBIRTH", nbirth())
        told = node.say("DBIRTH", dbirth(1, metric("T", 2.1, at_ms=ARRIVED_MS - 500)))

        assert values(told) == [2.1]
        assert told.readings[0].observed_ms == ARRIVED_MS - 500
        assert not told.requests

    def test_data_by_alias_is_the_metric_that_the_birth_named(self) -> None:
        """A value without a name is the probe's by the alias of its birth."""
        node = Node()
        node.be_born()

        assert values(node.data(2, 3.25)) == [3.25]

    def test_data_before_any_birth_is_refused_and_the_births_are_asked_for(self) -> None:
        """Nobody knows what an alias means: quarantine, and a rebirth command to the node."""
        told = Node().data(2)

        assert [q.reason for q in told.quarantined] == [Reason.UNDECODABLE]
        assert [request.topic for request in told.requests] == ["spBv1.0/fish/NCMD/node-1"]
        (asked,) = read_payload(told.requests[0].payload).metrics
        assert (asked.name, asked.value, asked.datatype) == ("Node Control/Rebirth", True, 11)

    @pytest.mark.parametrize("typed", [True, False])
    def test_value_that_names_itself_and_its_type_needs_no_birth(self, *, typed: bool) -> None:
        """After our restart a running node is read at once, and asked for its births."""
        data = pysparkplug.DData(ARRIVED_MS, 7, (metric("T", -20.5),))
        told = Node().say("DDATA", data.encode(include_dtypes=typed))

        assert (values(told), len(told.quarantined), len(told.requests)) == ([-20.5], 0, 1)

    def test_whole_number_without_its_type_waits_for_the_birth(self) -> None:
        """-18 comes as four billion: nobody can tell its sign."""
        told = Node().say("DDATA", ddata(2, metric("T", -18, DataType.INT32)))

        assert (values(told), len(told.quarantined), len(told.requests)) == ([], 1, 1)
        assert told.unread == ((ProbeId("case-1-air"), Unread.BIRTH),)

    def test_death_of_a_device_without_a_birth_is_told(self) -> None:
        """It was read by its names, so its end counts too."""
        node = Node()
        node.say("DDATA", ddata(7, metric("T", 2.5)))

        assert node.say("DDEATH", pysparkplug.DDeath(ARRIVED_MS, 8).encode()).gone

    def test_alias_no_birth_named_is_refused_until_the_rebirth(self) -> None:
        """An alias out of nowhere may be another probe's; after the births it counts."""
        node = Node()
        node.be_born()
        told = node.say("DDATA", ddata(2, metric(None, 9.0, alias=8)))
        assert (values(told), len(told.quarantined), len(told.requests)) == ([], 1, 1)

        node.be_born()

        assert values(node.data(2)) == [2.5]

    @pytest.mark.parametrize(
        ("kind", "value"),
        [(DataType.INT8, -18), (DataType.INT16, -18), (DataType.INT32, -18), (DataType.INT64, -18),
         (DataType.UINT8, 18), (DataType.DOUBLE, -18.25)],
    )  # fmt: skip
    def test_number_of_each_type_keeps_its_sign(self, kind: DataType, value: float) -> None:
        """A freezer at −18 is not at four billion degrees."""
        assert values(Node().be_born(kind=kind, value=value)) == [value]

    def test_type_of_the_birth_holds_for_data_that_name_none(self) -> None:
        """Data leave the type out: the sign comes by the birth's."""
        node = Node()
        node.be_born(kind=DataType.INT16, value=-18)
        told = node.say("DDATA", ddata(2, metric(None, -20, DataType.INT16, alias=7)))

        assert values(told) == [-20.0]

    def test_battery_of_an_earlier_message_goes_with_the_next_reading(self) -> None:
        """Metrics are sent as they change, not together."""
        node = Node()
        node.be_born()
        node.say("DDATA", ddata(2, metric("B", 81.0)))

        assert node.data(3).readings[0].battery == 81.0

    def test_door_speaks_booleans(self) -> None:
        """A contact's boolean is open or shut."""
        node = Node(measures=Measures.DOOR)
        told = node.be_born(kind=DataType.BOOLEAN, value=True)

        assert values(told) == [1.0]

    def test_other_devices_of_the_node_are_no_strangers(self) -> None:
        """They keep the count going, and nothing of theirs is quarantined."""
        node = Node()
        node.be_born()
        other = "spBv1.0/fish/DBIRTH/node-1/oven"
        told = node.receiver.receive(other, dbirth(2, metric("T", 180.0, alias=9)), ARRIVED_MS)

        assert told == Received()
        assert values(node.data(3)) == [2.5]


class TestDoubt:
    def test_null_is_no_reading(self) -> None:
        """A node without a value says so; that is not zero degrees."""
        node = Node()
        node.be_born()
        told = node.data(2, 0.0, is_null=True)

        assert values(told) == []
        assert [q.probe for q in told.quarantined] == [ProbeId("case-1-air")]

    def test_historical_counts_at_its_own_time(self) -> None:
        """What was stored and sent later is a late reading."""
        node = Node()
        node.be_born()
        told = node.data(2, 4.0, is_historical=True, at_ms=ARRIVED_MS - 3_600_000)

        assert told.readings[0].observed_ms == ARRIVED_MS - 3_600_000

    @pytest.mark.parametrize("at_ms", [0, ARRIVED_MS - 40 * 86_400_000])
    def test_historical_without_a_usable_time_is_refused(self, at_ms: int) -> None:
        """It must never stand as the temperature of now."""
        node = Node()
        node.be_born()
        told = node.data(2, 4.0, is_historical=True, at_ms=at_ms)

        assert [q.reason for q in told.quarantined] == [Reason.TIME_UNCERTAIN]

    @pytest.mark.parametrize("garbage", [b"\xff", b"21.5", b'{"t": 2}', b"\x12\x7f\x00"])
    def test_garbage_is_quarantined_once(self, garbage: bytes) -> None:
        """Whatever the bytes, nothing is raised."""
        node = Node()
        node.be_born()

        assert len(node.say("DDATA", garbage).quarantined) == 1


class TestCount:
    # seq 0 to 255 and 0 again: Sparkplug 3.0.0 (ISO/IEC 20237:2023), chapter 6.
    def test_count_wraps_from_255_to_0_without_a_gap(self) -> None:
        """254, 255, 0, 1: nothing is missing."""
        node = Node()
        node.be_born(seq=252)

        told = [node.data(seq, seq / 100) for seq in (254, 255, 0, 1)]

        assert all(len(values(one)) == 1 and not one.requests for one in told)

    def test_missing_number_asks_for_births_and_refuses_aliases_until_then(self) -> None:
        """254, 0: a birth may be among what is missing, so an alias is in doubt."""
        node = Node()
        node.be_born(seq=252)
        node.data(254)
        told = node.data(0)
        assert (values(told), len(told.quarantined), len(told.requests)) == ([], 1, 1)

        node.be_born()

        assert values(node.data(2)) == [2.5]

    def test_missing_number_leaves_values_with_a_name_believed(self) -> None:
        """A name says by itself whose value it is."""
        node = Node()
        node.be_born()
        told = node.say("DDATA", ddata(5, metric("T", 4.5)))

        assert (values(told), len(told.requests)) == ([4.5], 1)

    def test_two_messages_that_changed_places_cost_one_request_and_no_value_with_a_name(
        self,
    ) -> None:
        """Each counts at its own time; nothing is held back for the one that is missing."""
        node = Node()
        node.be_born()
        told = [node.say("DDATA", ddata(seq, metric("T", seq / 2))) for seq in (3, 2, 4, 5)]

        assert [values(one) for one in told] == [[1.5], [1.0], [2.0], [2.5]]
        assert [len(one.requests) for one in told] == [1, 0, 0, 0]

    def test_births_are_asked_for_ever_less_often(self) -> None:
        """A node that does not answer is not shouted at."""
        node = Node()
        asked = []
        for second in range(120):
            node.at_ms = ARRIVED_MS + second * 1000
            if node.data(second, second / 10).requests:
                asked.append(second)

        assert asked == [0, 10, 30, 70]

    def test_very_message_twice_is_one(self) -> None:
        """Two subscriptions may bring one message twice."""
        node = Node()
        node.be_born()
        node.data(2)

        assert node.data(2) == Received()


class TestDeath:
    def test_death_of_the_node_ends_its_probes_and_its_aliases(self) -> None:
        """The broker tells of a node that fell off the network: at once, not in three minutes."""
        node = Node()
        node.be_born()

        assert node.say("NDEATH", ndeath(8)).gone == (ProbeId("case-1-air"),)
        assert values(node.data(2)) == []

    def test_death_of_an_earlier_connection_is_ignored(self) -> None:
        """NDEATH bdSeq 7 after NBIRTH bdSeq 8: the node is alive."""
        node = Node()
        node.be_born()

        assert node.say("NDEATH", ndeath(7)) == Received()
        assert values(node.data(2)) == [2.5]

    def test_death_of_the_device_ends_its_probes_until_its_birth(self) -> None:
        """The node lives on without the device."""
        node = Node()
        node.be_born()
        death = pysparkplug.DDeath(ARRIVED_MS, 2).encode()

        assert node.say("DDEATH", death).gone == (ProbeId("case-1-air"),)
        assert values(node.data(3)) == []
        assert values(node.say("DBIRTH", dbirth(4, metric("T", 2.0, alias=7)))) == [2.0]


@pytest.mark.parametrize(
    ("topic", "fields"),
    [
        ("shop/case-1", {"value": "T"}),
        ("spBv1.0/fish/DDATA/node-1/case-1", {"value": "T"}),
        (OURS, {}),
    ],
)
def test_probe_without_a_source_is_refused_at_the_start(topic: str, fields: dict[str, str]) -> None:
    """A probe that nobody could ever hear is told of at once."""
    with pytest.raises(UnusableProbe, match="case-1-air"):
        Node(topic=topic, fields=fields)
