"""A Sparkplug edge node for tests: a client library's node and messages, over our MQTT client.

The library's own connection needs an older MQTT client than the service does, so its node is
given this one; births, wills, numbers and bytes are the library's.
"""

import socket
import threading
from collections.abc import Callable
from typing import Any

import pysparkplug as sp
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

GROUP, NODE = "fish", "node-1"


class Transport:
    """What the library's node asks of a connection."""

    def __init__(self) -> None:
        self.client = Client(
            CallbackAPIVersion.VERSION2, client_id=NODE, reconnect_on_failure=False
        )
        self._wanted: list[tuple[str, int]] = []
        self._ready = threading.Event()

    def set_will(self, message: sp.Message) -> None:
        if not self.client.is_connected():  # of this connection; the next one's comes too late
            self.client.will_set(str(message.topic), message.payload.encode(), qos=1)

    def subscribe(self, topic: sp.Topic, qos: sp.QoS, callback: Callable[..., None]) -> None:
        def heard(_client: Client, _userdata: object, message: MQTTMessage) -> None:
            callback(self, sp.Message.from_mqtt_message(message))

        self.client.message_callback_add(str(topic), heard)
        self._wanted.append((str(topic), int(qos)))

    def connect(self, host: str, *, port: int, callback: Callable[..., None], **_: Any) -> None:
        def ready(*_args: object) -> None:
            callback(self)
            self._ready.set()

        self.client.on_subscribe = ready
        self.client.on_connect = lambda *_args: self.client.subscribe(self._wanted)
        self.client.connect(host, port)
        self.client.loop_start()
        assert self._ready.wait(20), "the node was not subscribed"

    def publish(self, message: sp.Message, *, include_dtypes: bool) -> None:
        payload = message.payload.encode(include_dtypes=include_dtypes)
        self.client.publish(str(message.topic), payload, qos=int(message.qos))


class Node:
    """A node with one device, which answers a rebirth command as it must."""

    def __init__(self, device: str, metric: str, celsius: float, alias: int) -> None:
        self.transport = Transport()
        self.reborn = threading.Event()
        self._device, self._alias = device, alias
        self._node = sp.EdgeNode(GROUP, NODE, (), self.transport, self._on_command)
        self._born = self._node._bd_seq_metric
        first = sp.Metric(sp.get_current_timestamp(), metric, sp.DataType.FLOAT, celsius, alias)
        self._node.register(sp.Device(device, (first,)))

    def connect(self, port: int) -> None:
        """Connect, and be born."""
        self._node.connect("127.0.0.1", port=port)

    def data(self, celsius: float) -> None:
        """Send a value by its alias."""
        now_ms = sp.get_current_timestamp()
        metric = sp.Metric(now_ms, None, sp.DataType.FLOAT, celsius, self._alias)
        payload = sp.DData(now_ms, self._node._seq, (metric,))
        self._send(sp.MessageType.DDATA, payload, self._device)

    def skip(self) -> None:
        """Leave out a number, as if a message had been lost."""
        next_seq = self._node._seq
        assert 0 <= next_seq <= 255

    def break_off(self) -> None:
        """Fall off the network for good: the broker tells of it by the will."""
        self.transport.client.loop_stop()  # or it would be back, and born, within a second
        self.transport.client.socket().shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        client = self.transport.client
        client.disconnect()
        client.loop_stop()
        client._reset_sockets()  # it leaves the pair that wakes its thread to the collector

    def _on_command(self, node: sp.EdgeNode, message: sp.Message) -> None:
        (asked,) = message.payload.metrics
        assert (asked.name, asked.value) == ("Node Control/Rebirth", True)
        now_ms = sp.get_current_timestamp()
        birth = sp.NBirth(now_ms, node._seq, (self._born,))
        self._send(sp.MessageType.NBIRTH, birth, typed=True)
        for device in node.devices.values():
            payload = sp.DBirth(now_ms, node._seq, device.metrics.values())
            self._send(sp.MessageType.DBIRTH, payload, device.device_id, typed=True)
        self.reborn.set()

    def _send(
        self, kind: sp.MessageType, payload: Any, device: str | None = None, *, typed: bool = False
    ) -> None:
        topic = sp.Topic(message_type=kind, group_id=GROUP, edge_node_id=NODE, device_id=device)
        message = sp.Message(topic=topic, payload=payload, qos=sp.QoS.AT_MOST_ONCE, retain=False)
        self.transport.publish(message, include_dtypes=typed)
