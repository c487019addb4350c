"""A summary's sentences as JSON: what is kept of a morning for layouts that come later. Pure."""

import json
from typing import Any

from rimewatch.report.facts import State
from rimewatch.report.page import Page, UnitBlock
from rimewatch.report.sections import Item, Section


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
                "chart": block.has_chart,
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


def kept_page(text: str) -> dict[str, Any]:
    """Return what :func:`page_json` wrote, as it was kept.

    Raises:
        ValueError: If it is no page.
    """
    document = json.loads(text)
    if not isinstance(document, dict) or "verdict" not in document:
        raise ValueError("not a page of a summary")
    return document


def page_from_json(text: str) -> Page:
    """Return the page of which :func:`page_json` wrote this, in this version or an older one.

    Raises:
        ValueError: If it is no page.
    """
    try:
        return _page(kept_page(text))
    except (KeyError, TypeError) as error:
        raise ValueError(f"not a page of a summary: {error!r}") from error


def _page(document: dict[str, Any]) -> Page:
    return Page(
        shop=document["shop"],
        night=document["night"],
        period=document["period"],
        clock_note=document["clock_note"],
        state=State(document["state"]),
        verdict=tuple(document["verdict"]),
        todos_title=document.get("todos_title", "To do today"),  # older ones have none
        todos=tuple(document["todos"]),
        units=tuple(
            UnitBlock(
                name=unit["name"],
                limit=unit["limit"],
                state=State(unit["state"]),
                state_word=unit["state_word"],
                range=unit["range"],
                lines=tuple(unit["lines"]),
                has_chart=unit["chart"],
            )
            for unit in document["units"]
        ),
        sections=tuple(
            Section(
                title=section["title"],
                items=tuple(
                    Item(head=item["head"], lines=tuple(item["lines"])) for item in section["items"]
                ),
            )
            for section in document["sections"]
        ),
        cautions=tuple(document["cautions"]),
    )
