"""What the interface for programs offers, as an OpenAPI document: one place, tested against it.

References:
    [1] OpenAPI Specification 3.1.0.
    [2] OpenMetrics 1.0 (text format), for ``/metrics``.
    [3] RFC 9110, HTTP Semantics: ETag and If-None-Match (8.8.3, 13.1.2).
"""

from typing import Any, Final

_NOT_MODIFIED: Final = {"description": "Nothing has changed since the ETag that was given."}
_REFUSED: Final = {"description": "No token, or one without the scope."}


def _answer(what: str, kind: str = "application/json") -> dict[str, Any]:
    return {
        "200": {"description": what, "content": {kind: {}}},
        "304": _NOT_MODIFIED,
        "401": _REFUSED,
    }


def _query(name: str, what: str, *, required: bool = False) -> dict[str, Any]:
    return {
        "name": name,
        "in": "query",
        "required": required,
        "description": what,
        "schema": {"type": "string"},
    }


DOCUMENT: Final[dict[str, Any]] = {
    "openapi": "3.1.0",
    "info": {
        "title": "rimewatch",
        "version": "1",
        "description": (
            "Temperatures are °C, times ISO 8601 in UTC. A record is evidence of what the probes "
            "measured, not a guarantee of food safety. Tokens: rimewatch people token."
        ),
    },
    "components": {"securitySchemes": {"token": {"type": "http", "scheme": "bearer"}}},
    "security": [{"token": []}],
    "paths": {
        "/api/units": {
            "get": {"summary": "Every unit as it is now.", "responses": _answer("The units.")}
        },
        "/api/alarms": {
            "get": {
                "summary": "Alarms that are on, or returned and not yet acknowledged.",
                "responses": _answer("The alarms."),
            }
        },
        "/api/lots": {"get": {"summary": "Lots that are here.", "responses": _answer("The lots.")}},
        "/api/readings": {
            "get": {
                "summary": "A probe's readings, as JSON or CSV, page by page.",
                "parameters": [
                    _query("probe", "The probe's id.", required=True),
                    _query("from", "ISO 8601 with its zone; without it, a day before to."),
                    _query("to", "ISO 8601 with its zone; without it, now."),
                    _query("limit", "Most readings of a page, 1 to 10000; 1000 without it."),
                    _query("after", "From the page before: its next."),
                    _query("format", "json or csv; without it, by the Accept header."),
                ],
                "responses": {
                    **_answer("The readings."),
                    "404": {"description": "There is no such probe."},
                    "422": {"description": "A parameter is wrong; the text says which."},
                },
            }
        },
        "/api/health": {
            "get": {
                "summary": "Whether the watch is at work; needs no token.",
                "security": [],
                "responses": {
                    "200": {"description": "It is."},
                    "503": {"description": "Time was not followed for some minutes."},
                },
            }
        },
        "/api/openapi.json": {
            "get": {
                "summary": "This document; needs no token.",
                "security": [],
                "responses": {"200": {"description": "The document."}},
            }
        },
        "/metrics": {
            "get": {
                "summary": "Counts and gauges, as OpenMetrics text.",
                "responses": _answer(
                    "The figures.", "application/openmetrics-text; version=1.0.0; charset=utf-8"
                ),
            }
        },
    },
}
