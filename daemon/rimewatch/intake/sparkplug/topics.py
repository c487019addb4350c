"""Sparkplug topics: ``spBv1.0/GROUP/TYPE/NODE`` and ``spBv1.0/GROUP/TYPE/NODE/DEVICE``.

Pure. Source: Sparkplug 3.0.0 (ISO/IEC 20237:2023), chapter 4, topics.
"""

from enum import StrEnum
from typing import Final, NamedTuple

NAMESPACE: Final = "spBv1.0"


class Kind(StrEnum):
    """What a message is about, as far as a listener needs it."""

    NBIRTH = "NBIRTH"
    NDEATH = "NDEATH"
    NDATA = "NDATA"
    DBIRTH = "DBIRTH"
    DDEATH = "DDEATH"
    DDATA = "DDATA"
    NCMD = "NCMD"
    DCMD = "DCMD"

    @property
    def is_of_device(self) -> bool:
        """Whether it speaks for a device and not for the node itself."""
        return self.value[0] == "D"

    @property
    def is_command(self) -> bool:
        """Whether it goes to the node and does not come from it."""
        return self in (Kind.NCMD, Kind.DCMD)


_KINDS: Final = {kind.value: kind for kind in Kind}


class NodeName(NamedTuple):
    """An edge node: what connects to the broker and speaks for its devices."""

    group: str
    node: str

    @property
    def filter(self) -> str:
        """What to subscribe to, to hear all of it: births, data and deaths."""
        return f"{NAMESPACE}/{self.group}/+/{self.node}/#"

    @property
    def command_topic(self) -> str:
        """Where the node takes commands."""
        return f"{NAMESPACE}/{self.group}/{Kind.NCMD}/{self.node}"


class Heard(NamedTuple):
    """A topic taken apart."""

    kind: Kind
    node: NodeName
    device: str
    """Empty: the node itself."""


class Source(NamedTuple):
    """Where a probe's metric comes from."""

    node: NodeName
    device: str


def source_of(topic: str) -> Source | None:
    """Return what a probe's configured topic names; None if it is no Sparkplug source.

    The message type is left open by ``+``: a probe needs births and deaths too.

    >>> source_of("spBv1.0/fish/+/node-1/case-1").device
    'case-1'
    >>> source_of("spBv1.0/fish/DDATA/node-1/case-1") is None
    True
    """
    levels = topic.split("/")
    if len(levels) not in (4, 5) or levels[0] != NAMESPACE or levels[2] != "+":
        return None
    names = [levels[1], *levels[3:]]
    if any(not name or set(name) & set("+#") for name in names):
        return None
    return Source(NodeName(levels[1], levels[3]), levels[4] if len(levels) == 5 else "")


def heard(topic: str) -> Heard | None:
    """Return what a message's topic says; None if it is not a node's or a device's."""
    levels = topic.split("/")
    if len(levels) not in (4, 5) or levels[0] != NAMESPACE:
        return None
    kind = _KINDS.get(levels[2])
    if kind is None or kind.is_of_device != (len(levels) == 5):
        return None
    return Heard(kind, NodeName(levels[1], levels[3]), levels[4] if len(levels) == 5 else "")
