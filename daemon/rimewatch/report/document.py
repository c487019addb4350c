"""A document, said once: what every layout of it lays out. Pure values.

The morning summary, the record of a lot, the record of a period and the review of a week each
build one. ``document_text``, ``document_html`` and ``document_pdf`` lay out any of them; none
of the three knows what it is about.
"""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final, Literal

from rimewatch.report import wording

Align = Literal["L", "R"]

LONGEST_FOOT: Final = 120
"""Signs of a line in small letters beside a page's number."""


class Tone(StrEnum):
    """How something is said; a colour repeats only what the words say already."""

    PLAIN = "plain"
    QUIET = "quiet"
    """Said aside, in small letters."""
    GOOD = "good"
    DOUBTFUL = "doubtful"
    BAD = "bad"


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """The title of what follows."""

    text: str
    starts_page: bool = False
    """On paper it stands at the top of a page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """Some sentences."""

    text: str
    tone: Tone = Tone.PLAIN
    strong: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Names, and what stands for each; a name that is empty goes on with the one before."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One of a list."""

    text: str
    mark: str = "–"
    """What stands before it: a dash, or its number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """Points, one below the other."""

    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tasks:
    """What is to be done: numbered, and set apart."""

    title: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A chart."""

    png: bytes | None
    """None: it is still to be drawn, and has its place."""
    ratio: float
    """Its height by its width."""
    says: str
    """What it shows, for whoever does not see it."""
    legend: str = ""
    """How it is to be read; stands below it, and nowhere without it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A headed paragraph, with how it stands to its right and perhaps a chart beside it."""

    head: str
    state: str = ""
    tone: Tone = Tone.PLAIN
    """Of ``state``."""
    lines: tuple[str, ...] = ()
    picture: Picture | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of a table."""

    title: str
    share: float
    """Its part of the width, beside the others'."""
    align: Align = "L"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows below named columns; every row has a cell for each."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    newest_last: bool = False
    """The last row is the one that is meant; the others are there to compare."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallPrint:
    """What is to be known of all that stands above: cautions, and how it is to be read."""

    texts: tuple[str, ...]
    takes_seal: bool = False
    """A line with a day's seal may be put to its end when it is sent."""


Block = Heading | Paragraph | Facts | Listing | Tasks | Picture | Item | Table | SmallPrint


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """Everything that is read, from top to bottom."""

    shop: str
    title: str
    """What it is."""
    when: tuple[str, ...]
    """The time it is of; the first names it."""
    verdict: tuple[str, ...] = ()
    """What it comes to; the first sentence is read first."""
    tone: Tone = Tone.PLAIN
    """Of the verdict."""
    verdict_leads: bool = False
    """The verdict is larger than the title."""
    blocks: tuple[Block, ...]
    made: datetime
    """The instant that it is of, an aware time; the only date of its files."""
    is_dense: bool = False
    """On paper it is set in small letters, so that one sheet holds it."""

    @property
    def window_title(self) -> str:
        """What a reader's window is called."""
        return f"{self.shop}: {' '.join(self.verdict) if self.verdict_leads else self.title}"

    @property
    def foot(self) -> str:
        """What stands at the foot of each page: its time as well, where there is room."""
        named = f"{self.shop} · {self.title}"
        told = " · ".join((named, *self.when[:1]))
        return told if len(told) <= LONGEST_FOOT else wording.clipped(named, LONGEST_FOOT)
