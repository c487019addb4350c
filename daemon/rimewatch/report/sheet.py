"""Paper: pages of a record as PDF, with the look of the HTML.

Layout only: it is given finished texts, numbers and pictures. The same calls give the same
bytes: the date inside is the one given, and no program's version is named. The letters are
DejaVu Sans, which comes with matplotlib and has every sign that records use.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import cache
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import Final, Literal

from fpdf import FPDF
from fpdf.enums import MethodReturnValue, XPos, YPos

from rimewatch.report import wording
from rimewatch.report.document import Align, Column
from rimewatch.report.inks import BOX_INK, INK, QUIET_INK, RULE_INK
from rimewatch.vocabulary import Paper

MARGIN_MM: Final = 16.0
BODY_PT: Final = 9.0
SMALL_PT: Final = 7.5
HEAD_PT: Final = 11.0
TITLE_PT: Final = 15.0
LEADING: Final = 1.32
"""Height of a line by its letters' size."""
MM_A_POINT: Final = 25.4 / 72.0
"""1 pt is 1/72 inch (ISO 32000-1, 8.3.2.3), an inch 25.4 mm exactly."""

BESIDE_MM: Final = 74.0
"""How wide a picture is beside a text."""

SPARE_MM: Final = 0.5
"""A line that would come so near to the margin is left to the library that breaks lines."""

ROW_GAP_MM: Final = 0.8
"""Below a row of several lines, so that one sees where the next begins."""

MOST_SURELY_FITS: Final = 8
"""Signs that every column holds in one line."""

_FAMILY: Final = "DejaVu"
_FORMATS: Final[dict[Paper, Literal["letter", "a4"]]] = {Paper.LETTER: "letter", Paper.A4: "a4"}
_WORD_JOINER: Final = "\u2060"


@cache
def _font(name: str) -> Path:
    return Path(str(files("matplotlib") / "mpl-data" / "fonts" / "ttf" / name))


class _Pages(FPDF):
    """Pages with a foot: what this is, whose, and which page of how many."""

    foot_text = ""

    def footer(self) -> None:
        """Write the foot of a page."""
        self.set_y(-11)
        self.set_font(_FAMILY, size=6.5)
        self.set_text_color(QUIET_INK)
        self.cell(0, 4, self.foot_text)
        self.set_x(self.l_margin)
        self.cell(0, 4, f"{self.page_no()} / {{nb}}", align="R")


class Sheet:
    """A document in the making, from top to bottom.

    Args:
        title: Its title, also for the reader's window.
        foot: What stands at the foot of each page.
        made: The instant that it is of, an aware time; its only date.
        paper: What it is printed on.
    """

    def __init__(self, *, title: str, foot: str, made: datetime, paper: Paper) -> None:
        pdf = _Pages(format=_FORMATS[paper], unit="mm")
        pdf.set_creation_date(made)
        pdf.set_producer("rimewatch")
        pdf.set_title(title)
        pdf.set_lang("en")
        pdf.add_font(_FAMILY, "", _font("DejaVuSans.ttf"))
        pdf.add_font(_FAMILY, "B", _font("DejaVuSans-Bold.ttf"))
        pdf.set_margins(MARGIN_MM, MARGIN_MM)
        pdf.set_auto_page_break(auto=True, margin=14.0)
        pdf.foot_text = wording.clipped(foot, 120)
        pdf.add_page()
        self._pdf = pdf
        self._widths_mm: dict[tuple[str, float, str], float] = {}

    @property
    def width_mm(self) -> float:
        """Width between the margins."""
        return float(self._pdf.epw)

    @property
    def _left_mm(self) -> float:
        return float(self._pdf.h - self._pdf.b_margin - self._pdf.y)

    def keep_together(self, height_mm: float) -> None:
        """Go to the next page unless so much room is left on this one."""
        if self._left_mm < height_mm:
            self._pdf.add_page()

    def next_page(self) -> None:
        """Go to the next page."""
        self._pdf.add_page()

    def space(self, height_mm: float) -> None:
        """Leave some room, but not at the top of a page."""
        if self._pdf.y > self._pdf.t_margin:
            self._pdf.set_y(self._pdf.y + height_mm)

    def rule(self) -> None:
        """Draw a thin line from margin to margin."""
        pdf = self._pdf
        pdf.set_draw_color(RULE_INK)
        pdf.set_line_width(0.2)
        pdf.line(pdf.l_margin, pdf.y, pdf.l_margin + pdf.epw, pdf.y)
        pdf.set_y(pdf.y + 1.2)

    def text(
        self,
        text: str,
        *,
        size_pt: float = BODY_PT,
        bold: bool = False,
        ink: str = INK,
        indent_mm: float = 0.0,
        width_mm: float | None = None,
    ) -> None:
        """Write a paragraph, broken at its spaces."""
        self._pen(size_pt, bold=bold, ink=ink)
        self._pdf.set_x(self._pdf.l_margin + indent_mm)
        self._paragraph(
            (self.width_mm if width_mm is None else width_mm) - indent_mm,
            size_pt * MM_A_POINT * LEADING,
            _plain(text),
        )

    def title(self, text: str, *, ink: str = INK) -> None:
        """Write the line that is read first."""
        self.text(text, size_pt=TITLE_PT, bold=True, ink=ink)
        self.space(1.0)

    def heading(self, text: str, *, size_pt: float, above_mm: float) -> None:
        """Write a section's title, never alone at the end of a page."""
        self.space(above_mm)
        self.keep_together(22.0)
        self.text(text, size_pt=size_pt, bold=True)
        self.space(1.0)

    def line(self, left: str, right: str, *, ink: str = INK, right_ink: str = INK) -> None:
        """Write a bold line with something at its right end."""
        pdf = self._pdf
        height_mm = BODY_PT * MM_A_POINT * LEADING
        self._pen(BODY_PT, bold=True, ink=right_ink)
        room_mm = self._long_mm(right) + 4.0
        if pdf.will_page_break(height_mm):
            pdf.add_page()
        self._put(right, pdf.l_margin, self.width_mm, height_mm, align="R")
        self._pen(BODY_PT, bold=True, ink=ink)
        pdf.set_x(pdf.l_margin)
        self._paragraph(self.width_mm - room_mm, height_mm, _plain(left))

    def _paragraph(self, width_mm: float, line_mm: float, text: str) -> None:
        """Write from where the pen is, broken at the spaces, and go to the line below.

        What surely fits a line needs no breaking, which is most of the time a long record takes.
        """
        pdf = self._pdf
        room_mm = width_mm - 2.0 * pdf.c_margin
        if "\n" in text or self._long_mm(text) > room_mm - SPARE_MM:
            pdf.multi_cell(width_mm, line_mm, text, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
            return
        left_mm = pdf.x
        if pdf.will_page_break(line_mm):
            pdf.add_page()
        self._put(text, left_mm, width_mm, line_mm)
        pdf.set_xy(pdf.l_margin, pdf.y + line_mm)

    def _put(
        self, text: str, left_mm: float, width_mm: float, line_mm: float, *, align: Align = "L"
    ) -> None:
        """Write one line where the pen stands; the pen stays."""
        pdf = self._pdf
        if not text:
            return
        at_mm = left_mm + pdf.c_margin
        if align == "R":
            at_mm = left_mm + width_mm - pdf.c_margin - self._long_mm(text)
        pdf.text(at_mm, pdf.y + 0.5 * line_mm + 0.3 * pdf.font_size, text)

    def _long_mm(self, text: str) -> float:
        """Return how long a line is in the letters that the pen has."""
        pdf = self._pdf
        key = (pdf.font_style, pdf.font_size_pt, text)
        found = self._widths_mm.get(key)
        if found is None:
            found = self._widths_mm[key] = float(pdf.get_string_width(text))
        return found

    def pair(self, label: str, value: str, *, size_pt: float, label_mm: float) -> None:
        """Write a name and, beside it, what stands for it."""
        pdf = self._pdf
        height_mm = size_pt * MM_A_POINT * LEADING
        self._pen(size_pt)
        self.keep_together(self._height_mm(value, self.width_mm - label_mm, height_mm))
        self._pen(size_pt, ink=QUIET_INK)
        pdf.set_x(pdf.l_margin)
        pdf.cell(label_mm, height_mm, _plain(label))
        self.text(value, size_pt=size_pt, indent_mm=label_mm)

    def numbered_box(self, title: str, texts: Sequence[str]) -> None:
        """Write numbered sentences on a tinted ground."""
        pdf = self._pdf
        height_mm = BODY_PT * MM_A_POINT * LEADING
        self._pen(BODY_PT)
        inner_mm = self.width_mm - 13.0
        total_mm = 10.0 + sum(self._height_mm(text, inner_mm, height_mm) + 0.8 for text in texts)
        if total_mm < pdf.eph:
            self.keep_together(total_mm)
            pdf.set_fill_color(BOX_INK)
            pdf.rect(pdf.l_margin, pdf.y, pdf.epw, total_mm, style="F")
        pdf.set_y(pdf.y + 2.5)
        self.text(title, bold=True, indent_mm=3.5)
        for number, text in enumerate(texts, start=1):
            self.keep_together(height_mm)
            self._pen(BODY_PT)
            pdf.set_x(pdf.l_margin + 3.5)
            pdf.cell(6.0, height_mm, f"{number}.")
            self.text(text, indent_mm=9.5, width_mm=self.width_mm - 3.5)
            pdf.set_y(pdf.y + 0.8)
        pdf.set_y(pdf.y + 2.0)

    def _height_mm(self, text: str, width_mm: float, line_mm: float) -> float:
        height_mm = self._pdf.multi_cell(
            width_mm, line_mm, _plain(text), dry_run=True, output=MethodReturnValue.HEIGHT
        )
        assert isinstance(height_mm, float | int), "HEIGHT asks for a number"
        return float(height_mm)

    def beside(self, texts: Sequence[str], png: bytes, *, ratio: float, says: str) -> None:
        """Write sentences with a small picture to their right, as :meth:`picture` has it."""
        pdf = self._pdf
        height_mm = BESIDE_MM * ratio
        top_mm = pdf.y
        pdf.image(
            BytesIO(png),
            x=pdf.l_margin + pdf.epw - BESIDE_MM,
            y=top_mm,
            w=BESIDE_MM,
            h=height_mm,
            alt_text=says,
        )
        for text in texts:
            self.text(text, size_pt=BODY_PT - 0.5, width_mm=self.width_mm - BESIDE_MM - 4.0)
            pdf.set_y(pdf.y + 0.5)
        pdf.set_y(max(pdf.y, top_mm + height_mm))

    def picture(self, png: bytes, *, ratio: float, says: str) -> None:
        """Put a picture across the whole width; ``ratio`` is its height by its width."""
        pdf = self._pdf
        height_mm = self.width_mm * ratio
        self.keep_together(height_mm)
        pdf.image(BytesIO(png), x=pdf.l_margin, w=self.width_mm, h=height_mm, alt_text=says)
        pdf.set_y(pdf.y + 2.5)

    def table(
        self,
        columns: Sequence[Column],
        rows: Iterable[Sequence[str]],
        *,
        size_pt: float = SMALL_PT,
    ) -> None:
        """Write a table; its head comes again on each page.

        A cell that is too long goes on in further lines: nothing of a record is cut.
        """
        pdf = self._pdf
        whole = sum(column.share for column in columns)
        widths_mm = [self.width_mm * column.share / whole for column in columns]
        height_mm = size_pt * MM_A_POINT * 1.5
        self.keep_together(3.5 * height_mm)
        self._head(columns, widths_mm, height_mm, size_pt)
        for row in rows:
            cells = [
                self._lines(cell, width_mm) for cell, width_mm in zip(row, widths_mm, strict=True)
            ]
            row_lines = max(len(lines) for lines in cells)
            # A row stays whole, unless it alone would leave half a page empty.
            whole_mm = min(row_lines * height_mm, 0.5 * pdf.eph)
            for number in range(row_lines):
                if self._left_mm < (height_mm if number else whole_mm):
                    pdf.add_page()
                    self._head(columns, widths_mm, height_mm, size_pt)
                left_mm = pdf.l_margin
                for column, width_mm, lines in zip(columns, widths_mm, cells, strict=True):
                    if number < len(lines):
                        self._put(lines[number], left_mm, width_mm, height_mm, align=column.align)
                    left_mm += width_mm
                pdf.set_xy(pdf.l_margin, pdf.y + height_mm)
            if row_lines > 1:
                self.space(ROW_GAP_MM)
        self.space(1.0)

    def _head(
        self,
        columns: Sequence[Column],
        widths_mm: Sequence[float],
        height_mm: float,
        size_pt: float,
    ) -> None:
        pdf = self._pdf
        self._pen(size_pt, bold=True, ink=QUIET_INK)
        for column, width_mm in zip(columns, widths_mm, strict=True):
            pdf.cell(width_mm, height_mm, column.title, align=column.align)
        pdf.set_xy(pdf.l_margin, pdf.y + height_mm)
        self.rule()
        self._pen(size_pt)

    def _lines(self, text: str, width_mm: float) -> Sequence[str]:
        """Return a cell's lines: broken at its spaces, a word longer than a line within it."""
        room_mm = width_mm - 2.0
        if len(text) <= MOST_SURELY_FITS or self._long_mm(text) <= room_mm:
            return (text,)  # most cells of a long record
        lines: list[str] = []
        line = ""
        for word in text.split():
            longer = f"{line} {word}" if line else word
            if self._long_mm(longer) <= room_mm:
                line = longer
                continue
            if line:
                lines.append(line)
            line = word
            while self._long_mm(line) > room_mm:
                fits = self._signs_that_fit(line, room_mm)
                lines.append(line[:fits])
                line = line[fits:]
        return (*lines, line)

    def _signs_that_fit(self, word: str, room_mm: float) -> int:
        """Return how many of a word's first signs fill a line; after a sign that parts, if any."""
        fits = 1
        while fits < len(word) and self._long_mm(word[: fits + 1]) <= room_mm:
            fits += 1
        parted = max(word.rfind(sign, 0, fits) for sign in "-/._,;:&?=") + 1
        return parted if parted > fits // 2 else fits

    def _pen(self, size_pt: float, *, bold: bool = False, ink: str = INK) -> None:
        self._pdf.set_font(_FAMILY, "B" if bold else "", size_pt)
        self._pdf.set_text_color(ink)

    def finished(self) -> bytes:
        """Return the document."""
        return bytes(self._pdf.output())


def _plain(text: str) -> str:
    """Leave out what only browsers need, and bind numbers to their units."""
    return wording.tied(text).replace(_WORD_JOINER, "")
