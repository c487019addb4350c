"""What Sparkplug messages mean for a shop's probes: births, data by alias, deaths.

Follows each edge node that a probe belongs to. A value by its alias is taken only from a node
whose birth was heard; one that names itself and its type needs none. Whoever is heard without
a birth, or with a message missing before, is asked for its births anew, ever less often while
it does not answer. The births of other devices are followed for their place in the count alone.

Deterministic: the same messages give the same results. No network, no clock: the receiver
hands messages in, and what is to be published is handed out.

References:
    [1] Sparkplug 3.0.0 (ISO/IEC 20237:2023), chapters 4 to 6. Nothing waits for messages
        out of order (a Reorder Timeout of 0 s): decision 0051 says why.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

from rimewatch.intake.decoders.draft import Draft, TimeOrigin, Undecodable, UnusableProbe
from rimewatch.intake.decoders.values import battery_of, reader_of
from rimewatch.intake.device_time import is_plausible
from rimewatch.intake.quality import Refusal
from rimewatch.intake.sparkplug.payload import (
    BD_SEQ,
    Metric,
    Payload,
    metric_value,
    read_payload,
    rebirth_command,
)
from rimewatch.intake.sparkplug.topics import Heard, Kind, NodeName, heard, source_of
from rimewatch.readings import Reason
from rimewatch.shop import Probe
from rimewatch.vocabulary import ProbeId, Unread

SEQ_VALUES: Final = 256
"""``seq`` and ``bdSeq`` count from 0 to 255 and begin again. Source: [1], chapter 6."""

ASK_AGAIN_MS: Final = (10_000, 300_000)
"""First and longest wait before births are asked for again (our choice)."""

MOST_ALIASES: Final = 20_000
"""Of one node. A payload that is read holds fewer (our choice)."""

_NO_BIRTH: Final = "sent before its birth was heard; its births are asked for"
_IN_DOUBT: Final = (
    "an alias while messages before it are missing, or one that no birth named; "
    "births are asked for"
)


class Request(NamedTuple):
    """Something to publish, at QoS 0 and not retained."""

    topic: str
    payload: bytes


@dataclass(slots=True)
class Told:
    """What a message tells."""

    drafts: list[tuple[ProbeId, Draft]] = field(default_factory=list)
    refused: list[tuple[ProbeId | None, Refusal]] = field(default_factory=list)
    gone: list[ProbeId] = field(default_factory=list)
    """Probes whose node or device has said that it is no longer there."""
    requests: list[Request] = field(default_factory=list)


class _Name(NamedTuple):
    device: str
    metric: str


class _Bound(NamedTuple):
    name: _Name
    datatype: int | None


@dataclass(slots=True)
class _Wanted:
    probe: Probe
    battery: float | None = None


@dataclass(slots=True)
class _Node:
    name: NodeName
    values: dict[_Name, list[_Wanted]] = field(default_factory=dict)
    batteries: dict[_Name, list[_Wanted]] = field(default_factory=dict)
    is_born: bool = False
    bd_seq: int | None = None
    seq: int | None = None
    """The last one heard; None: any may come next."""
    last: tuple[str, bytes] = ("", b"")
    in_doubt: bool = False
    devices: set[str] = field(default_factory=set)
    """Of the watched ones, those that are born."""
    aliases: dict[int, _Bound] = field(default_factory=dict)
    datatypes: dict[_Name, int | None] = field(default_factory=dict)
    ask_due_ms: int | None = None
    ask_wait_ms: int = ASK_AGAIN_MS[0]

    def wanted(self, device: str | None) -> list[Probe]:
        """Return the probes of a device, or of the node and all its devices for None."""
        found = (w.probe for group in self.values.values() for w in group)
        if device is None:
            return list(found)
        return [
            w.probe for name, group in self.values.items() if name.device == device for w in group
        ]

    def watches(self, device: str) -> bool:
        return any(name.device == device for name in self.values)


class SparkplugHost:
    """Follows the nodes of the probes that speak Sparkplug.

    Args:
        probes: Those probes.

    Raises:
        UnusableProbe: If a probe's topic or fields name no metric.
    """

    def __init__(self, probes: Iterable[Probe]) -> None:
        self._nodes: dict[NodeName, _Node] = {}
        for probe in probes:
            self._add(probe)

    def _add(self, probe: Probe) -> None:
        source, metric = source_of(probe.topic), probe.fields.get("value")
        if source is None:
            what = (
                f'topic is "{probe.topic}"; expected spBv1.0/GROUP/+/NODE or '
                "spBv1.0/GROUP/+/NODE/DEVICE with format sparkplug"
            )
            raise UnusableProbe(probe.id, what)
        if not metric:
            what = 'fields.value is missing; expected the metric\'s name, such as "Temperature"'
            raise UnusableProbe(probe.id, what)
        node = self._nodes.setdefault(source.node, _Node(source.node))
        wanted = _Wanted(probe)
        node.values.setdefault(_Name(source.device, metric), []).append(wanted)
        if battery := probe.fields.get("battery"):
            node.batteries.setdefault(_Name(source.device, battery), []).append(wanted)

    def follows(self, topic: str) -> Heard | None:
        """Return a topic taken apart, if it is of a node that is followed."""
        found = heard(topic)
        return found if found is not None and found.node in self._nodes else None

    def greet(self, now_ms: int) -> list[Request]:
        """Ask every node for its births: after a start, or an absence, nothing is known."""
        return [self._request(node, now_ms) for node in self._nodes.values()]

    def lose_count(self) -> None:
        """Take any number as the next: the last messages may come a second time."""
        for node in self._nodes.values():
            node.seq = None

    def hear(self, topic: str, payload: bytes, arrived_ms: int) -> Told:
        """Take a message of a followed node.

        Args:
            topic: Its topic.
            payload: Its bytes, of any content.
            arrived_ms: When it arrived, milliseconds UTC.
        """
        said = self.follows(topic)
        assert said is not None, "only followed nodes are heard"
        told = Told()
        if said.kind.is_command:
            return told
        node = self._nodes[said.node]
        try:
            message = read_payload(payload)
        except Undecodable as err:
            told.refused.append((None, Refusal(Reason.UNDECODABLE, str(err))))
            return told
        if said.kind is Kind.NDEATH:
            self._die(node, message, arrived_ms, told)
            return told
        if said.kind is Kind.NBIRTH:
            _be_born(node, message)
        elif (node.seq, node.last) == (message.seq, (topic, payload)):
            return told  # the very message again, such as by two subscriptions
        elif not node.is_born:
            self._take_unborn(node, said, message, arrived_ms, told)
            return told
        else:
            self._count(node, message, arrived_ms, told)
        node.seq = message.seq
        node.last = (topic, payload)
        if self._note_device(node, said, message, arrived_ms, told):
            self._take_values(node, said, message, arrived_ms, told)
        return told

    def _note_device(
        self, node: _Node, said: Heard, message: Payload, arrived_ms: int, told: Told
    ) -> bool:
        """Note births and the death of a device; return whether there are values to take."""
        match said.kind:
            case Kind.DDEATH:
                node.devices.discard(said.device)
                told.gone += [probe.id for probe in node.wanted(said.device)]
                return False
            case Kind.DBIRTH:
                _bind(node, said.device, message.metrics)
                if node.watches(said.device):
                    node.devices.add(said.device)
            case Kind.NBIRTH:
                _bind(node, "", message.metrics)
            case Kind.DDATA if node.watches(said.device) and said.device not in node.devices:
                self._take_unborn(node, said, message, arrived_ms, told)
                return False
            case _:
                pass
        return True

    def _die(self, node: _Node, message: Payload, arrived_ms: int, told: Told) -> None:
        """Take a node's death, unless it is that of an earlier connection than its birth."""
        if not node.is_born:
            self._ask(node, arrived_ms, told)
            return
        bd_seq = _bd_seq(message)
        if bd_seq is not None and node.bd_seq is not None and bd_seq != node.bd_seq:
            return
        node.is_born = False
        node.devices.clear()
        node.aliases.clear()
        told.gone += [probe.id for probe in node.wanted(None)]

    def _take_unborn(
        self, node: _Node, said: Heard, message: Payload, arrived_ms: int, told: Told
    ) -> None:
        """Take what names itself and its type of a node or device without a birth; ask for it."""
        is_data = said.kind in (Kind.NDATA, Kind.DDATA, Kind.DBIRTH)
        plain = [metric for metric in message.metrics if is_data and _says_it_all(metric)]
        known = (node.values.keys() | node.batteries.keys()) if plain else set()
        if said.kind is Kind.DDEATH:
            told.gone += [probe.id for probe in node.wanted(said.device)]
        if not any(_Name(said.device, str(metric.name)) in known for metric in plain):
            self._refuse(node, said, _NO_BIRTH, arrived_ms, told)
            return
        self._ask(node, arrived_ms, told)
        named = replace(message, metrics=tuple(plain))
        self._take_values(node, said, named, arrived_ms, told)

    def _count(self, node: _Node, message: Payload, arrived_ms: int, told: Told) -> None:
        """Look at a message's place in the count."""
        expected = None if node.seq is None else (node.seq + 1) % SEQ_VALUES
        if expected is not None and message.seq not in (None, expected):
            node.in_doubt = True
        if node.in_doubt:
            self._ask(node, arrived_ms, told)

    def _refuse(self, node: _Node, said: Heard, why: str, arrived_ms: int, told: Told) -> None:
        """Refuse a message that has to do with a probe, once; and ask for births."""
        self._ask(node, arrived_ms, told)
        probes = node.wanted(said.device)
        if probes and said.kind is not Kind.DDEATH:
            probe = probes[0].id if len(probes) == 1 else None
            told.refused.append((probe, Refusal(Reason.UNDECODABLE, why, Unread.BIRTH)))

    def _ask(self, node: _Node, arrived_ms: int, told: Told) -> None:
        if node.ask_due_ms is None or arrived_ms >= node.ask_due_ms:
            told.requests.append(self._request(node, arrived_ms))

    def _request(self, node: _Node, now_ms: int) -> Request:
        node.ask_due_ms = now_ms + node.ask_wait_ms
        node.ask_wait_ms = min(2 * node.ask_wait_ms, ASK_AGAIN_MS[1])
        return Request(node.name.command_topic, rebirth_command(now_ms))

    def _take_values(
        self, node: _Node, said: Heard, message: Payload, arrived_ms: int, told: Told
    ) -> None:
        is_birth = said.kind in (Kind.NBIRTH, Kind.DBIRTH)
        found: list[tuple[_Name, Metric, int | None]] = []
        is_strange = False
        for metric in message.metrics:
            if metric.name is not None:
                name = _Name(said.device, metric.name)
                datatype = metric.datatype or node.datatypes.get(name)
            else:
                bound = None if metric.alias is None else node.aliases.get(metric.alias)
                if bound is None or (node.in_doubt and not is_birth):
                    is_strange = True
                    continue
                name, datatype = bound.name, metric.datatype or bound.datatype
            found.append((name, metric, datatype))
        if is_strange:
            self._refuse(node, said, _IN_DOUBT, arrived_ms, told)
        for name, metric, datatype in found:
            for wanted in node.batteries.get(name, ()):
                wanted.battery = battery_of(metric_value(metric, datatype))
        for name, metric, datatype in found:
            for wanted in node.values.get(name, ()):
                drafted = _draft(wanted, metric, datatype, message, arrived_ms)
                if isinstance(drafted, Draft):
                    told.drafts.append((wanted.probe.id, drafted))
                else:
                    told.refused.append((wanted.probe.id, drafted))


def _be_born(node: _Node, message: Payload) -> None:
    """Begin anew with a node's birth: every device is born again after it."""
    node.is_born = True
    node.in_doubt = False
    node.bd_seq = _bd_seq(message)
    node.devices.clear()
    node.aliases.clear()
    node.datatypes.clear()
    node.ask_due_ms = None
    node.ask_wait_ms = ASK_AGAIN_MS[0]


def _says_it_all(metric: Metric) -> bool:
    """Return whether a metric needs no birth: it has a name, and a type where one is needed."""
    is_integer = isinstance(metric.value, int) and not isinstance(metric.value, bool)
    return metric.name is not None and (metric.datatype is not None or not is_integer)


def _bd_seq(message: Payload) -> int | None:
    for metric in message.metrics:
        if metric.name == BD_SEQ and isinstance(metric.value, int):
            return metric.value % SEQ_VALUES
    return None


def _bind(node: _Node, device: str, metrics: Sequence[Metric]) -> None:
    """Bind what a birth names, in place of what it named before."""
    for alias in [a for a, bound in node.aliases.items() if bound.name.device == device]:
        del node.aliases[alias]
    for metric in metrics:
        if metric.name is None:
            continue
        name = _Name(device, metric.name)
        if name in node.values or name in node.batteries:
            node.datatypes[name] = metric.datatype
        if metric.alias is not None and len(node.aliases) < MOST_ALIASES:
            node.aliases[metric.alias] = _Bound(name, metric.datatype)


def _draft(
    wanted: _Wanted, metric: Metric, datatype: int | None, message: Payload, arrived_ms: int
) -> Draft | Refusal:
    probe = wanted.probe
    where = f"the metric {probe.fields['value']}"
    if metric.is_null:
        return Refusal(Reason.UNDECODABLE, f"{where} is null: its node has no value for it")
    try:
        measured = reader_of(probe)(metric_value(metric, datatype), where)
    except Undecodable as err:
        return Refusal(Reason.UNDECODABLE, str(err))
    observed_ms = metric.timestamp_ms or message.timestamp_ms or None
    if metric.is_historical and (
        not metric.timestamp_ms or not is_plausible(metric.timestamp_ms, arrived_ms)
    ):
        # Anything else of unknown age counts at its arrival; this one says that it is old.
        why = f"{where} is historical and has no usable time of its own"
        return Refusal(Reason.TIME_UNCERTAIN, why)
    origin = TimeOrigin.UNREADABLE if observed_ms is None else TimeOrigin.OWN
    return Draft(measured.value, observed_ms, wanted.battery, origin, measured.scale)
