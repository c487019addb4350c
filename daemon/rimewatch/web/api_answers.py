"""How every answer for programs is asked for and given: instants, pages, tags, CSV or JSON.

References:
    [1] RFC 4180, Common Format for CSV Files, section 2.
    [2] RFC 9110, HTTP Semantics: ETag, If-None-Match and Accept (8.8.3, 13.1.2, 12.5.1).
    [3] RFC 8288, Web Linking.
"""

import csv
import hashlib
import io
import json
from collections.abc import Iterable, Sequence
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from rimewatch import instants
from rimewatch.report.records_tables import Row, safe_cell
from rimewatch.web.api_document import MOST, USUAL


def json_answer(request: Request, content: dict[str, Any]) -> Response:
    """Return an answer as JSON, with its tag."""
    return tagged(request, json.dumps(content, ensure_ascii=False), "application/json")


def csv_answer(
    request: Request, columns: Sequence[str], rows: Iterable[Row], more: str | None, root: str
) -> Response:
    """Return an answer as CSV [1], with its tag and a link to the next page [3].

    Args:
        request: What was asked.
        columns: The head.
        rows: A page of rows; a text that a spreadsheet takes for a formula is made harmless.
        more: What "after" is to be for the next page; None: this is the last.
        root: The path below which all of it is reached.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([safe_cell(cell) for cell in row] for row in rows)
    answer = tagged(request, text.getvalue(), "text/csv; charset=utf-8")
    if more is not None:
        following = request.url.include_query_params(after=more)
        answer.headers["Link"] = f'<{root}{following.path}?{following.query}>; rel="next"'
    return answer


def tagged(request: Request, text: str, kind: str) -> Response:
    """Return an answer with its tag; nothing but that where the asker has it already [2]."""
    tag = f'"{hashlib.sha256(text.encode()).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache", "Vary": "Accept, Authorization"}
    known = {part.strip() for part in request.headers.get("if-none-match", "").split(",")}
    if tag in known:
        return Response(status_code=304, headers=headers)
    return Response(text, headers={**headers, "Content-Type": kind})


def wants_csv(request: Request) -> bool:
    """Return whether CSV is asked for, by name or else by what is accepted.

    Raises:
        HTTPException: 422, if it is neither CSV nor JSON that is asked for by name.
    """
    return format_asked(request, {"json": "application/json", "csv": "text/csv"}) == "csv"


def format_asked(request: Request, formats: dict[str, str]) -> str:
    """Return which of some formats is asked for: by its name, else by Accept, else the first.

    Args:
        request: What was asked.
        formats: Media types by the formats' names, the usual one first.

    Raises:
        HTTPException: 422, if another one is asked for by name.
    """
    said = request.query_params.get("format")
    if said is not None:
        if said not in formats:
            names = " nor ".join(formats)
            raise HTTPException(422, f"format is neither {names}.")
        return said
    liking = [
        (_liking(request.headers.get("accept", ""), kind), name) for name, kind in formats.items()
    ]
    best = max(q for q, _ in liking)
    return next(name for q, name in liking if q == best)


def _liking(accept: str, kind: str) -> float:
    """Return how much a media type is wanted by an Accept header, 0 to 1; the closest counts."""
    told: dict[str, float] = {}
    for part in accept.lower().split(","):
        name, *parameters = (piece.strip() for piece in part.split(";"))
        weights = [p[2:] for p in parameters if p.startswith("q=")]
        try:
            told[name] = float(weights[0]) if weights else 1.0
        except ValueError:
            told[name] = 0.0
    ranges = (kind, f"{kind.partition('/')[0]}/*", "*/*")
    return next((told[each] for each in ranges if each in told), 0.0)


def limit_of(text: str | None) -> int:
    """Return how much a page may hold.

    Raises:
        HTTPException: 422, if it is no such number.
    """
    if text is None:
        return USUAL
    if not (text.isascii() and text.isdigit() and len(text) <= 6 and 1 <= int(text) <= MOST):
        raise HTTPException(422, f"limit is no whole number from 1 to {MOST}.")
    return int(text)


def instant_of(text: str | None, name: str, usual_ms: int) -> int:
    """Return an instant that was given with its zone, milliseconds since the epoch.

    Raises:
        HTTPException: 422, if it is none.
    """
    if text is None:
        return usual_ms
    # A "+" that nobody escaped arrives as a blank.
    at_ms = instants.iso_ms(text.replace(" ", "+"))
    if at_ms is None:
        raise HTTPException(
            422, f"{name} is no instant; expected one such as 2026-03-02T12:00:00Z."
        )
    return at_ms


def iso(at_ms: float) -> str:
    """Return an instant as every answer has it, with milliseconds."""
    return instants.iso(at_ms, always_ms=True)


def iso_or_none(at_ms: float | None) -> str | None:
    """Return the same, or None where there is none."""
    return None if at_ms is None else iso(at_ms)
