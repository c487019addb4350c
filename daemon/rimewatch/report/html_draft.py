"""A summary's page whose charts are still to be drawn: all of it but the pictures. Pure.

Its words are made with the batch that the morning falls into, its pictures cost more than all
the rest and are drawn elsewhere. It survives a round trip through text to the bit, so a page
that is finished after a restart is the one that would have been made at once.
"""

import base64
import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from rimewatch.report import chart
from rimewatch.report.curve import Curve, Span
from rimewatch.vocabulary import Scale

_FAST: Final = 1
"""zlib's level: times and measured values become small at any, the rest at none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitChart:
    """Everything that one unit's chart shows."""

    lines: chart.Lines
    curve: Curve
    gaps: tuple[Span, ...]
    break_s: float | None
    """Neighbouring points further apart than this are not joined; None: all are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HtmlDraft:
    """A page in pieces; between each two of them belongs the address of a chart."""

    pieces: tuple[str, ...]
    charts: tuple[UnitChart, ...]
    from_ms: int
    to_ms: int
    zone: ZoneInfo
    scale: Scale

    def png(self, number: int) -> bytes:
        """Return one of its charts, counted from 0, as a picture."""
        one = self.charts[number]
        return chart.unit_chart_png(
            one.lines,
            one.curve,
            chart.View(from_ms=self.from_ms, to_ms=self.to_ms, zone=self.zone, scale=self.scale),
            gaps=one.gaps,
            break_s=one.break_s,
        )

    def finished(self, pictures: Sequence[bytes]) -> str:
        """Return the page with its pictures, one for each chart, in their order."""
        page = [self.pieces[0]]
        for png, piece in zip(pictures, self.pieces[1:], strict=True):
            page.append(f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}")
            page.append(piece)
        return "".join(page)

    def drawn(self) -> str:
        """Return the page with its pictures, drawn now."""
        return self.finished([self.png(number) for number in range(len(self.charts))])

    def to_text(self) -> str:
        """Return it as JSON text, for :meth:`from_text`."""
        document = {
            "pieces": self.pieces,
            "charts": [_document(one) for one in self.charts],
            "from_ms": self.from_ms,
            "to_ms": self.to_ms,
            "zone": self.zone.key,
            "scale": self.scale.value,
        }
        return json.dumps(document, ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def from_text(cls, text: str) -> "HtmlDraft":
        """Return what :meth:`to_text` wrote.

        Raises:
            ValueError, KeyError, TypeError: If it was another version, or is damaged.
        """
        found = json.loads(text)
        return cls(
            pieces=tuple(found["pieces"]),
            charts=tuple(_chart(one) for one in found["charts"]),
            from_ms=found["from_ms"],
            to_ms=found["to_ms"],
            zone=ZoneInfo(found["zone"]),
            scale=Scale(found["scale"]),
        )


def _document(one: UnitChart) -> dict[str, Any]:
    curve = one.curve
    return {
        "limit_c": one.lines.limit_c,
        "operating_limit_c": one.lines.operating_limit_c,
        "times_ms": _packed(curve.times_ms.astype("<i8")),
        "measured_c": _packed(curve.measured_c.astype("<f8")),
        "governing_c": _packed(curve.governing_c.astype("<f8")),
        "doors": curve.doors,
        "defrosts": curve.defrosts,
        "gaps": one.gaps,
        "break_s": one.break_s,
    }


def _chart(found: dict[str, Any]) -> UnitChart:
    def spans(name: str) -> tuple[Span, ...]:
        return tuple((start, end) for start, end in found[name])

    return UnitChart(
        lines=chart.Lines(limit_c=found["limit_c"], operating_limit_c=found["operating_limit_c"]),
        curve=Curve(
            times_ms=np.frombuffer(_unpacked(found["times_ms"]), "<i8"),
            measured_c=np.frombuffer(_unpacked(found["measured_c"]), "<f8"),
            governing_c=np.frombuffer(_unpacked(found["governing_c"]), "<f8"),
            doors=spans("doors"),
            defrosts=spans("defrosts"),
        ),
        gaps=spans("gaps"),
        break_s=found["break_s"],
    )


def _packed(values: NDArray[Any]) -> str:
    return base64.b64encode(zlib.compress(values.tobytes(), _FAST)).decode("ascii")


def _unpacked(text: str) -> bytes:
    return zlib.decompress(base64.b64decode(text))
