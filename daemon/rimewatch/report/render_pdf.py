"""The summary on paper: what the HTML says, sentence by sentence, on a page or two.

Layout only. It is made from what was kept of the morning, not from the readings as they are
now: the paper says what the mail said.
"""

import base64
import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from rimewatch.report.facts import State
from rimewatch.report.page_document import page_of_json
from rimewatch.report.render_html import INKS
from rimewatch.report.sheet import QUIET_INK, SMALL_PT, Sheet
from rimewatch.vocabulary import Paper

_CHART: Final = re.compile(r'src="data:image/png;base64,([A-Za-z0-9+/=]+)"')

LEGEND: Final = (
    "Thick line: fish. Thin line: air, where it is measured apart. Dashed: limit; dotted: early "
    "line. Wide band: defrost; narrow band: door open; hatched: unmonitored."
)


def summary_pdf(page: str, html: str, *, made: datetime, paper: Paper, foot: str = "") -> bytes:
    """Return a morning's summary as PDF.

    Args:
        page: Its sentences, as kept.
        html: Its HTML, as kept; the charts are taken from it.
        made: The morning, an aware time.
        paper: What it is printed on.
        foot: A further line at the end, such as the seal of the day before.

    Raises:
        ValueError: If ``page`` is none.
    """
    seen = page_of_json(page)
    charts = iter([base64.b64decode(found) for found in _CHART.findall(html)])
    verdict = seen["verdict"]
    sheet = Sheet(
        title=f"{seen['shop']}: {' '.join(verdict)}",
        foot=f"{seen['shop']} · {seen['night']}",
        made=made,
        paper=paper,
    )
    sheet.text(seen["shop"], ink=QUIET_INK)
    sheet.text(seen["night"], ink=QUIET_INK)
    sheet.space(3.0)
    sheet.title(verdict[0], ink=INKS[State(seen["state"])])
    for sentence in verdict[1:]:
        sheet.text(sentence)
    sheet.text(seen["period"], size_pt=SMALL_PT, ink=QUIET_INK)
    if seen["clock_note"]:
        sheet.text(seen["clock_note"], size_pt=SMALL_PT)
    if seen["todos"]:
        sheet.space(4.0)
        title = seen.get("todos_title", "To do today")  # older ones have none
        sheet.numbered_box(title, seen["todos"])
    sheet.heading("Units")
    for unit in seen["units"]:
        _unit(sheet, unit, next(charts, None) if unit["chart"] else None)
    if any(unit["chart"] for unit in seen["units"]):
        sheet.text(LEGEND, size_pt=SMALL_PT, ink=QUIET_INK)
    for section in seen["sections"]:
        sheet.heading(section["title"])
        for item in section["items"]:
            sheet.keep_together(12.0)
            sheet.rule()
            sheet.text(item["head"], bold=True)
            for text in item["lines"]:
                sheet.text(text)
            sheet.space(1.0)
    sheet.space(3.0)
    sheet.keep_together(12.0)
    sheet.rule()
    sheet.text(" ".join(seen["cautions"]), size_pt=SMALL_PT, ink=QUIET_INK)
    if foot:
        sheet.text(foot, size_pt=SMALL_PT, ink=QUIET_INK)
    return sheet.finished()


def _unit(sheet: Sheet, unit: Mapping[str, Any], chart: bytes | None) -> None:
    sheet.keep_together(31.0 if chart else 18.0)
    sheet.rule()
    sheet.line(unit["name"], unit["state_word"], right_ink=INKS[State(unit["state"])])
    sheet.beside(
        [f"{unit['range']} ({unit['limit']})", *unit["lines"]],
        chart,
        says=f"{unit['name']}: {unit['range']}, {unit['limit']}.",
    )
    sheet.space(1.6)
