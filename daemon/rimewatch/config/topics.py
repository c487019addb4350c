"""MQTT topic filters: whether one is well formed, and whether two may name the same topic.

Pure. Source: MQTT Version 5.0 (OASIS Standard, 7 March 2019), section 4.7.
"""

from typing import Final, Protocol

LONGEST_TOPIC_BYTES: Final = 65_535
"""MQTT 5.0, section 4.7.3."""

SHARED: Final = "$share/"
"""MQTT 5.0, section 4.8.2."""


def mqtt_fault(topic: str) -> str | None:
    """Return what MQTT has against a topic filter, or None if nothing (4.7.1, 4.7.3)."""
    levels = topic.split("/")
    if not topic:
        return "it is empty"
    if "\0" in topic:
        return "it begins or ends with a blank, or holds a NUL character"
    if len(topic.encode("utf-8", errors="surrogatepass")) > LONGEST_TOPIC_BYTES:
        return "it is longer than 65535 bytes"
    if any("#" in level for level in levels[:-1]):
        return '"#" may only be the last level'
    if any(("#" in level or "+" in level) and len(level) > 1 for level in levels):
        return 'a wildcard ("+" or "#") must fill its level alone'
    return None


def filter_fault(topic: str) -> str | None:
    """Return what is wrong with a topic filter in a configuration, or None if nothing is.

    Blanks at its ends are allowed by MQTT and a slip of the pen here.

    >>> filter_fault("shop/+/air"), filter_fault("shop/#/air")
    (None, '"#" may only be the last level')
    """
    if topic.startswith(SHARED):
        return "it is a shared subscription, of which each member hears a part only"
    if topic and topic != topic.strip():
        return "it begins or ends with a blank, or holds a NUL character"
    return mqtt_fault(topic)


def narrowed(topic_filter: str, level: int, text: str) -> str | None:
    """Return a filter with one of its open levels named; None if that level is not open.

    Args:
        topic_filter: A well-formed filter.
        level: Which level, counted from 1: a "+", or one that "#" stands for.
        text: What stands there.

    >>> narrowed("shop/+/air", 2, "case-1"), narrowed("shop/#", 3, "air")
    ('shop/case-1/air', 'shop/+/air/#')
    >>> narrowed("shop/+/air", 3, "case-1") is None
    True
    """
    levels = topic_filter.split("/")
    if levels[-1] == "#" and level >= len(levels):
        levels[-1:] = ["+"] * (level - len(levels) + 1) + ["#"]
    if level > len(levels) or levels[level - 1] != "+":
        return None
    levels[level - 1] = text
    return "/".join(levels)


class LevelMark(Protocol):
    """What tells a probe's messages apart; by a level of the topic, if that is not None."""

    @property
    def level(self) -> int | None:
        """Which level, counted from 1."""
        ...

    @property
    def equals(self) -> object:
        """What stands there."""
        ...


def own_filter(topic_filter: str, mark: LevelMark | None) -> str:
    """Return the topics that are a probe's own: its filter, with its level named if it has one."""
    if mark is None or mark.level is None:
        return topic_filter
    return narrowed(topic_filter, mark.level, str(mark.equals)) or topic_filter


def overlap(first: str, second: str) -> bool:
    """Return whether some topic matches both well-formed filters.

    >>> overlap("shop/+/air", "shop/case-1/#"), overlap("shop/+", "shop/case-1/air")
    (True, False)
    """
    ours, theirs = first.split("/"), second.split("/")
    heads = {first[:1], second[:1]}
    if "$" in heads and heads & {"#", "+"}:
        return False  # a leading wildcard does not match topics that begin with "$" (4.7.2)
    for index in range(max(len(ours), len(theirs))):
        our = ours[index] if index < len(ours) else None
        their = theirs[index] if index < len(theirs) else None
        if "#" in (our, their):
            return True  # "#" also matches its parent level (4.7.1.2)
        if our is None or their is None:
            return False
        if our != their and "+" not in (our, their):
            return False
    return True
