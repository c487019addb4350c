"""A page's sentences as JSON: what is kept of a morning for layouts that come later. Pure."""

import json
from typing import Any

from rimewatch.report.page import Page


def page_json(page: Page) -> str:
    """Return a page as JSON text: the same for the same page."""
    document = {
        "shop": page.shop,
        "night": page.night,
        "period": page.period,
        "clock_note": page.clock_note,
        "state": page.state.value,
        "verdict": list(page.verdict),
        "todos_title": page.todos_title,
        "todos": list(page.todos),
        "units": [
            {
                "name": block.name,
                "state": block.state.value,
                "state_word": block.state_word,
                "range": block.range,
                "limit": block.limit,
                "lines": list(block.lines),
                "chart": block.facts.curve is not None and len(block.facts.curve.times_ms) > 0,
            }
            for block in page.units
        ],
        "sections": [
            {
                "title": section.title,
                "items": [{"head": item.head, "lines": list(item.lines)} for item in section.items],
            }
            for section in page.sections
        ],
        "cautions": list(page.cautions),
    }
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"))


def page_of_json(text: str) -> dict[str, Any]:
    """Return what :func:`page_json` wrote.

    Raises:
        ValueError: If it is no page.
    """
    document = json.loads(text)
    if not isinstance(document, dict) or "verdict" not in document:
        raise ValueError("not a page of a summary")
    return document
