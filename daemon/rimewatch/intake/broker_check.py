"""What a shop's broker lets whom do: tried out, and said in a sentence each.

Comes as a guest beside a running service. What it publishes is not retained, empty, and on
topics below those of the shop that nobody uses; but for a Sparkplug host's state, which is told
once more as it stands. A broker need not tell the truth: MQTT 3.1.1
confirms what it then drops, and no version says which topics it will not deliver.

References:
    [1] OASIS MQTT Version 5.0, 2019: 3.4.2.1 (PUBACK reasons), 3.9.3 (SUBACK reasons).
"""

import threading
from collections.abc import Sequence
from typing import Final, NamedTuple, Self

from paho.mqtt.client import Client, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from rimewatch.config.topics import overlap
from rimewatch.intake.bounded_client import BufferedSocket
from rimewatch.intake.broker_trouble import UNSUPPORTED_PROTOCOL
from rimewatch.intake.guest import Guest, NotHeard, stranger
from rimewatch.intake.receiver import subscription
from rimewatch.intake.sparkplug.presence import state_payload, state_topic
from rimewatch.intake.sparkplug.topics import Kind, Source, source_of
from rimewatch.shop import Probe, Shop

WITHIN_S: Final = 10.0
BACK_WITHIN_S: Final = 3.0
"""How soon what was taken comes back, where it does at all (our choice)."""
MARK: Final = "rimewatch-check"
"""The last level of topics that are used for trying, and a node that nobody has."""

Answers = dict[int, Sequence[ReasonCode]]


class Finding(NamedTuple):
    """One thing that was tried."""

    is_well: bool
    """False: worth a look. Nothing that keeps the service from its work is among these."""
    text: str


class BrokerFault(Exception):  # noqa: N818 - it is the broker's, not the program's
    """The service could not do its work at this broker. The text has a sentence for each cause."""


def examine(shop: Shop, now_ms: int) -> list[Finding]:
    """Try out a shop's broker.

    Args:
        shop: The shop.
        now_ms: The time, where a Sparkplug host's state is told for the first time.

    Raises:
        NotHeard: If it cannot be reached or does not let us in.
        BrokerSettingsError: If the settings cannot be used.
        BrokerFault: If it refuses what the service needs.
    """
    with _Visit(_open(shop, ours=True)) as visit:
        found = [visit.protocol_found(), visit.encryption_found()]
        faults = [*visit.reading_faults(shop), *visit.writing_faults(shop)]
        faults += visit.state_faults(shop.broker.sparkplug_host, now_ms)
    if faults:
        raise BrokerFault(" ".join(faults))
    found.append(Finding(is_well=True, text="It lets us read every probe, and write our own."))
    if shop.broker.sparkplug_host:
        text = "It passes on our state, which Sparkplug nodes wait for."
        found.append(Finding(is_well=True, text=text))
    try:
        guest = _open(shop, ours=False)
    except NotHeard:
        text = "It lets nobody in without a password or a certificate."
        return [*found, Finding(is_well=True, text=text)]
    text = (
        "It lets anybody in without a password: whoever reaches it can send false temperatures; "
        "see config/mosquitto-acl.conf."
    )
    with _Visit(guest) as visit:
        return [*found, Finding(is_well=False, text=text), visit.stranger_found(shop.probes)]


def _open(shop: Shop, *, ours: bool) -> tuple[Guest, MQTTProtocolVersion]:
    broker = shop.broker if ours else stranger(shop.broker)
    try:
        guest = Guest(broker, MQTTv5)
        guest.open(WITHIN_S)
    except NotHeard as refused:
        # Some brokers that speak no MQTT 5 say so, others close or fall silent.
        if refused.code not in (None, UNSUPPORTED_PROTOCOL):
            raise
    else:
        return guest, MQTTv5
    guest = Guest(broker, MQTTv311)
    guest.open(WITHIN_S)
    return guest, MQTTv311


class _Visit:
    """What a guest does at the broker, one thing after the other."""

    def __init__(self, opened: tuple[Guest, MQTTProtocolVersion]) -> None:
        self._guest, self._protocol = opened
        self._client = self._guest.client
        self._answered = threading.Condition()
        self._answers: Answers = {}
        self._states: list[tuple[str, bytes]] = []
        self._client.on_message = self._on_message
        self._client.on_subscribe = self._on_subscribe
        self._client.on_publish = self._on_publish

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._guest.close()

    def protocol_found(self) -> Finding:
        where = self._guest.end.address
        if self._protocol == MQTTv5:
            return Finding(is_well=True, text=f"The broker at {where} answers, in MQTT 5.")
        text = (
            f"The broker at {where} answers, in MQTT 3.1.1 alone: it drops what it does not allow "
            "without a word, so send one reading through and see it in probe list."
        )
        return Finding(is_well=False, text=text)

    def encryption_found(self) -> Finding:
        socket = self._client.socket()
        encrypted = socket.encrypted if isinstance(socket, BufferedSocket) else None
        if encrypted is not None:
            until = (encrypted.getpeercert() or {}).get("notAfter", "a time it does not say")
            how = encrypted.version()
            text = f"The connection is encrypted ({how}); its certificate ends {until}."
            return Finding(is_well=True, text=text)
        if self._guest.end.host in ("localhost", "127.0.0.1", "::1"):
            text = "The connection is not encrypted, and does not leave this machine."
            return Finding(is_well=True, text=text)
        text = (
            "The connection is not encrypted: whoever is on the way can read the password, and "
            "change temperatures; use mqtts:// with ca_file."
        )
        return Finding(is_well=False, text=text)

    def reading_faults(self, shop: Shop) -> list[str]:
        filters = sorted({subscription(probe) for probe in shop.probes})
        if shop.broker.entries:
            filters.append(shop.broker.entry_topic)
        if shop.broker.sparkplug_host:
            filters.append(state_topic(shop.broker.sparkplug_host))
        codes = self._subscribe(filters)
        return [
            f"It does not let us read {name} ({code.getName()}): allow broker.username to read it."
            for name, code in zip(filters, codes, strict=False)
            if code.is_failure
        ]

    def writing_faults(self, shop: Shop) -> list[str]:
        own = f"rimewatch/{shop.broker.client_id}/{MARK}"
        groups = {s.node.group for p in shop.probes if (s := _sparkplug_source(p)) is not None}
        commands = [f"spBv1.0/{group}/{Kind.NCMD}/{MARK}" for group in sorted(groups)]
        return [
            f"It does not let us write {topic.removesuffix(MARK)}… ({code.getName()}): allow "
            f"broker.username to write it, for {'births to be asked for' if n else 'our status'}."
            for n, topic in enumerate([own, *commands])
            if (code := self._publish(topic)) is not None and code.is_failure
        ]

    def state_faults(self, host: str, now_ms: int) -> list[str]:
        """Tell a host's state as it stands once more, and see whether it comes back.

        Called after another message was answered: what is kept has come by then.
        """
        if not host:
            return []
        topic = state_topic(host)
        with self._answered:
            kept = [state for where, state in self._states if where == topic]
            self._states.clear()
        said = kept[-1] if kept else state_payload(now_ms, online=False)
        code = self._publish(topic, said)
        why = "or Sparkplug nodes that wait for us will send nothing."
        if code is not None and code.is_failure:
            who = f"It does not let us write {topic} ({code.getName()}): allow broker.username to"
            return [f"{who} write it, {why}"]
        with self._answered:
            if self._answered.wait_for(lambda: (topic, said) in self._states, BACK_WITHIN_S):
                return []
        who = f"It does not pass on {topic}: allow broker.username to"
        return [f"{who} read and write it, {why}"]

    def stranger_found(self, probes: Sequence[Probe]) -> Finding:
        topic = _harmless(probes)
        if topic is None:
            text = "Whether it takes readings of strangers was not tried: any topic is a probe's."
            return Finding(is_well=True, text=text)
        code = self._publish(topic)
        if self._protocol != MQTTv5:
            text = f"Whether it takes a stranger's message on {topic}, MQTT 3.1.1 does not tell."
            return Finding(is_well=False, text=text)
        if code is not None and code.is_failure:
            text = f"It refused a stranger's message on {topic} ({code.getName()})."
            return Finding(is_well=True, text=text)
        text = f"It took a stranger's message on {topic}: anybody can speak for that probe."
        return Finding(is_well=False, text=text)

    def _subscribe(self, filters: Sequence[str]) -> Sequence[ReasonCode]:
        if not filters:
            return ()
        _, mid = self._client.subscribe([(name, 0) for name in filters])
        return self._answer(mid)

    def _publish(self, topic: str, payload: bytes = b"") -> ReasonCode | None:
        codes = self._answer(self._client.publish(topic, payload, qos=1).mid)
        return codes[0] if codes else None

    def _answer(self, mid: int | None) -> Sequence[ReasonCode]:
        with self._answered:
            if mid is None or not self._answered.wait_for(lambda: mid in self._answers, WITHIN_S):
                where = self._guest.end.address
                raise NotHeard(f"The broker at {where} let us in and then did not answer.")
            return self._answers.pop(mid)

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        if message.topic.startswith(state_topic("")):
            with self._answered:
                self._states.append((message.topic, bytes(message.payload)))
                self._answered.notify_all()

    def _on_subscribe(
        self,
        _client: Client,
        _userdata: object,
        mid: int,
        codes: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        with self._answered:
            self._answers[mid] = codes
            self._answered.notify_all()

    def _on_publish(
        self,
        _client: Client,
        _userdata: object,
        mid: int,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        with self._answered:
            self._answers[mid] = (code,)
            self._answered.notify_all()


def _sparkplug_source(probe: Probe) -> Source | None:
    return source_of(probe.topic) if probe.format == "sparkplug" else None


def _harmless(probes: Sequence[Probe]) -> str | None:
    """Return a topic below a probe's that is no probe's; None: all below is."""
    for probe in probes:
        topic = f"{probe.topic}/{MARK}".replace("+", MARK)
        if "#" not in topic and not any(overlap(other.topic, topic) for other in probes):
            return topic
    return None
