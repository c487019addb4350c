"""Which probes a topic belongs to: exact topics first, then filters with + and #.

Matching is MQTT's (OASIS MQTT 5.0, section 4.7), by the client library's own tree.
"""

from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Final, Generic, TypeVar

from paho.mqtt.matcher import MQTTMatcher

from rimewatch.config.topics import mqtt_fault

T = TypeVar("T")

REMEMBERED_TOPICS: Final = 4096
"""Topics whose answer is kept; a stranger who invents topics can push out no more."""

SHOWN_TOPIC_CHARS: Final = 256


class TopicTable(Generic[T]):
    """Finds the values whose topic filter matches, in the order they were given."""

    def __init__(self, filters: Iterable[tuple[str, T]]) -> None:
        exact: dict[str, list[tuple[int, T]]] = {}
        wild: dict[str, list[tuple[int, T]]] = {}
        for place, (topic_filter, value) in enumerate(filters):
            table = wild if "+" in topic_filter or "#" in topic_filter else exact
            table.setdefault(topic_filter, []).append((place, value))
        self._exact = exact
        self._matcher = MQTTMatcher()  # type: ignore[no-untyped-call]  # the library has no types there
        for topic_filter, values in wild.items():
            self._matcher[topic_filter] = values
        self.find: Callable[[str], tuple[T, ...]] = lru_cache(REMEMBERED_TOPICS)(self._find)
        """Return the values for a topic; empty if nothing matches."""

    def _find(self, topic: str) -> tuple[T, ...]:
        found = list(self._exact.get(topic, ()))
        for values in self._matcher.iter_match(topic):  # type: ignore[no-untyped-call]  # likewise
            found.extend(values)
        found.sort(key=lambda pair: pair[0])
        return tuple(value for _, value in found)


def is_filter(text: str) -> bool:
    """Tell whether a text is a topic filter (OASIS MQTT 5.0, section 4.7.1)."""
    return mqtt_fault(text) is None


def storable(topic: str) -> str:
    """Return a topic that can be stored and shown: valid Unicode, printable, not too long."""
    if len(topic) > SHOWN_TOPIC_CHARS:
        topic = topic[:SHOWN_TOPIC_CHARS] + "…"
    if topic.isprintable():
        return topic
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in topic)
