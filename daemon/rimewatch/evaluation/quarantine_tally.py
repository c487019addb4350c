"""Counts what was not believed, by topic and reason, in bounded space. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from rimewatch.readings import Quarantined

MOST_KINDS: Final = 200
"""A stranger's million topics fill no memory: further kinds are counted together."""

SHOWN_CHARACTERS: Final = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class QuarantineKind:
    """Messages that were not believed, of one kind."""

    topic: str
    probe: str
    """Empty: none is known."""
    reason: str
    """A :class:`~rimewatch.readings.Reason`, or ``various`` for what is counted together."""
    count: int
    payload_start: str
    """Of the first, as one printable line."""


class QuarantineTally:
    """How much was quarantined, and what it looked like."""

    def __init__(self) -> None:
        self.count = 0
        self._kinds: dict[tuple[str, str, str], list[Any]] = {}
        self._others = 0

    def add(self, items: Sequence[Quarantined]) -> None:
        """Count quarantined messages or values."""
        for item in items:
            self.count += 1
            kind = (item.topic, item.probe or "", item.reason.value)
            known = self._kinds.get(kind)
            if known is not None:
                known[0] += 1
            elif len(self._kinds) < MOST_KINDS:
                self._kinds[kind] = [1, shown(item.payload_start)]
            else:
                self._others += 1

    def rows(self) -> tuple[QuarantineKind, ...]:
        """Return one row a kind, the most frequent first."""
        rows = [
            QuarantineKind(topic=topic, probe=probe, reason=reason, count=count, payload_start=sent)
            for (topic, probe, reason), (count, sent) in self._kinds.items()
        ]
        rows.sort(key=lambda row: (-row.count, row.topic, row.reason))
        if self._others:
            rows.append(
                QuarantineKind(
                    topic="(other topics)",
                    probe="",
                    reason="various",
                    count=self._others,
                    payload_start="",
                )
            )
        return tuple(rows)


def shown(payload: bytes) -> str:
    """Return the start of a payload as one printable line."""
    text = payload[:SHOWN_CHARACTERS].decode("utf-8", errors="replace")
    return "".join(c if c.isprintable() else "·" for c in text)
