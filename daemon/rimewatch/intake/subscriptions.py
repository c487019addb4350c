"""What a lasting session is subscribed to, and what it still is from earlier and should not be.

A broker keeps the subscriptions with the session: a topic that the configuration no longer
names would be delivered until the session ends, weeks later. Asked for on every connection,
since a session may be gone without notice. Called on the network's thread, but for
:attr:`Subscriptions.superfluous`, which any thread may read.
"""

from collections.abc import Collection, Sequence

from paho.mqtt.client import Client
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from rimewatch.intake.broker_settings import BrokerSettingsError
from rimewatch.intake.topics import is_filter


class Subscriptions:
    """The filters of one session.

    Args:
        filters: What is to be subscribed to.
        earlier: What may be subscribed to from an earlier configuration.

    Raises:
        BrokerSettingsError: If one is no MQTT filter.
    """

    def __init__(self, filters: Collection[str], earlier: Collection[str] = ()) -> None:
        for name in filters:
            if not is_filter(name):
                msg = f'the topic "{name}" is no MQTT filter; + and # stand alone, # at the end'
                raise BrokerSettingsError(msg)
        self.filters = sorted(set(filters))
        self.superfluous: tuple[str, ...] = tuple(sorted(set(earlier) - set(filters)))
        """What the broker may still deliver beyond the filters; empty once it has said no."""
        self._asked: dict[int, list[str]] = {}
        self._given_up: dict[int, tuple[str, ...]] = {}

    def ask(self, client: Client, *, is_new: bool, speaks_5: bool) -> None:
        """Ask for all filters, and then to be spared the others.

        In this order: a message for an old filter and a new one does not fall between them.

        Args:
            client: The client, connected.
            is_new: Whether the broker knows no session of ours: nothing is left of earlier.
            speaks_5: Whether it is connected by MQTT 5.
        """
        self._asked.clear()
        self._given_up.clear()
        if is_new:
            self.superfluous = ()
        if self.filters:
            self._subscribe(client, speaks_5=speaks_5)
        if self.superfluous:
            _, mid = client.unsubscribe(list(self.superfluous))
            if mid is not None:
                self._given_up[mid] = self.superfluous

    def _subscribe(self, client: Client, *, speaks_5: bool) -> None:
        if speaks_5:
            # What we publish ourselves (a command to a Sparkplug node, our status) lies under a
            # wide filter too, and is none of the shop's messages: OASIS MQTT 5.0, 3.8.3.1.
            options = SubscribeOptions(
                qos=1, noLocal=True, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB
            )
            _, mid = client.subscribe([(name, options) for name in self.filters])
        else:
            _, mid = client.subscribe([(name, 1) for name in self.filters])
        if mid is not None:
            self._asked[mid] = self.filters

    def answered(self, mid: int, codes: Sequence[ReasonCode]) -> list[str]:
        """Take the broker's answer; return what it refused, with its reasons."""
        return [
            f"{name} ({code.getName()})"
            for name, code in zip(self._asked.pop(mid, []), codes, strict=False)
            if code.is_failure
        ]

    def released(self, mid: int, codes: Sequence[ReasonCode]) -> None:
        """Take the broker's answer to being spared filters; what it refuses is asked again.

        MQTT 3.1.1 has no reasons: the answer alone says that it was done.
        """
        asked = self._given_up.pop(mid, None)
        if asked is None:
            return
        refused = {name for name, code in zip(asked, codes, strict=False) if code.is_failure}
        self.superfluous = tuple(name for name in asked if name in refused)
