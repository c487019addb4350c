"""What the interface for programs offers, as an OpenAPI document: one place, tested against it.

References:
    [1] OpenAPI Specification 3.1.0.
    [2] OpenMetrics 1.0 (text format), for ``/metrics``.
    [3] RFC 9110, HTTP Semantics: ETag and If-None-Match (8.8.3, 13.1.2).
    [4] RFC 8288, Web Linking: the ``Link`` of a CSV answer.
    [5] RFC 6750, section 3: ``WWW-Authenticate: Bearer`` on a refusal.
"""

from collections.abc import Iterable
from enum import Enum
from typing import Any, Final

from rimewatch.alarms.lifecycle import State
from rimewatch.entries import ENTRY_CLASSES
from rimewatch.evaluation import unit_now
from rimewatch.lots.record import Proof
from rimewatch.vocabulary import Kind, Measures, Option, Priority, Rule, Standing
from rimewatch.web.metrics import CONTENT_TYPE

MOST: Final = 10_000
"""Most readings of one answer (our choice), about half a megabyte; or entries, or alarms."""
USUAL: Final = 1000

_TEXT: Final[dict[str, Any]] = {"text/plain": {"schema": {"type": "string", "minLength": 1}}}
_STRING: Final[dict[str, Any]] = {"type": "string"}
_STRINGS: Final[dict[str, Any]] = {"type": "array", "items": _STRING}
_INSTANT: Final[dict[str, Any]] = {"type": "string", "format": "date-time"}
_DATE: Final[dict[str, Any]] = {"type": "string", "format": "date"}
_DEGREES: Final[dict[str, Any]] = {"type": ["number", "null"], "description": "°C"}


def _or_null(schema: dict[str, Any]) -> dict[str, Any]:
    return {**schema, "type": [schema["type"], "null"]}


def _one_of(words: Iterable[Enum], *, or_null: bool = False) -> dict[str, Any]:
    values = [word.value for word in words]
    if or_null:
        return {"type": ["string", "null"], "enum": [*values, None]}
    return {"type": "string", "enum": values}


def _one_of_words(words: Iterable[str]) -> dict[str, Any]:
    return {"type": "string", "enum": list(words)}


def _object(**properties: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of an object that has each of some keys, and may get more."""
    return {"type": "object", "properties": properties, "required": list(properties)}


def _list(name: str, schema: str, **also: dict[str, Any]) -> dict[str, Any]:
    items = {"type": "array", "items": {"$ref": f"#/components/schemas/{schema}"}}
    return _object(**also, **{name: items})


_SCHEMAS: Final[dict[str, Any]] = {
    "Unit": _object(
        id=_STRING,
        name=_STRING,
        kind=_one_of(Kind),
        standing=_one_of(unit_now.UnitState),
        fish_c=_DEGREES,
        air_c=_DEGREES,
        read=_or_null(_INSTANT),
        limit_c={"type": "number", "description": "°C"},
        over_since=_or_null(_INSTANT),
        out_of_service={"type": "boolean"},
    ),
    "Alarm": _object(
        id=_STRING,
        unit=_or_null(_STRING),
        units={"type": "array", "items": _STRING},
        rule=_one_of(Rule),
        priority=_one_of(Priority),
        state=_one_of(State),
        raised=_INSTANT,
        acknowledged=_or_null(_INSTANT),
        returned=_or_null(_INSTANT),
    ),
    "Entry": _object(
        number={"type": "integer", "description": "Counted from 1 in the order they came."},
        at={**_INSTANT, "description": "When it was done."},
        entered={**_or_null(_INSTANT), "description": "When it was entered, if that was later."},
        who=_STRING,
        do=_one_of_words(ENTRY_CLASSES),
        unit=_or_null(_STRING),
        lot=_or_null(_STRING),
        source={**_STRING, "description": "By what way it came, such as cli, page or trace."},
        said={"type": "object", "description": "Its further keys, by what it does."},
    ),
    "Summary": _object(
        date=_DATE,
        text=_STRING,
        page={
            "type": ["object", "null"],
            "description": "Its sentences, part by part; null where an older version made it.",
        },
    ),
    "Lot": _object(
        lot=_STRING,
        unit=_or_null(_STRING),
        state={"type": "string", "enum": ["received", "freezing", "complete", "withdrawn"]},
        needs_destruction={"type": ["boolean", "null"]},
        proof=_one_of(Proof, or_null=True),
        standing={**_one_of(Standing), "description": "What may be said of it, in a word."},
        against={**_STRINGS, "description": "What speaks against serving it raw, by name."},
        lacks={**_STRINGS, "description": "What its proof lacks, by name."},
        doubts={**_STRINGS, "description": "Where the evidence has a hole, by name."},
        reasons={
            "type": "array",
            "items": {"type": "object", "required": ["reason"]},
            "description": "Each of what speaks against it and of the doubts, with its figures.",
        },
        verdict={**_STRING, "description": "What may be said of it, in a few words."},
        ready={
            "type": "boolean",
            "description": "Whether its proof is complete and sure, and no caveat stands beside.",
        },
        why_not={**_STRING, "description": "What its proof lacks; empty: nothing."},
        caveats={
            "type": "array",
            "items": _STRING,
            "description": "What puts its proof in doubt or speaks against serving it raw.",
        },
        option=_one_of(Option, or_null=True),
        required_h={"type": ["number", "null"]},
        credited_h={"type": ["number", "null"]},
        sure_h={"type": ["number", "null"]},
        completed=_or_null(_INSTANT),
        ice_days={"type": "number"},
    ),
    "Readings": _object(
        probe=_STRING,
        measures=_one_of(Measures),
        readings={
            "type": "array",
            "maxItems": MOST,
            "items": {
                "type": "array",
                "description": "The reading's time, then its value.",
                "items": {"oneOf": [_INSTANT, {"type": "number"}]},
                "minItems": 2,
                "maxItems": 2,
            },
        },
        next=_or_null(_INSTANT),
    ),
    "Health": _object(
        status={"type": "string", "enum": ["at work", "behind"]},
        late={
            "type": "boolean",
            "description": "Whether recording has lain behind for a minute: the disk is slow.",
        },
        delay_s={
            "type": "number",
            "description": "From arrival to the disk, of the last batch's oldest message; seconds.",
        },
    ),
}


def _json(schema: str | dict[str, Any]) -> dict[str, Any]:
    own = {"$ref": f"#/components/schemas/{schema}"} if isinstance(schema, str) else schema
    return {"application/json": {"schema": own}}


def _refusal(what: str, **headers: str) -> dict[str, Any]:
    answer: dict[str, Any] = {"description": what, "content": _TEXT}
    if headers:
        answer["headers"] = {
            name.replace("_", "-"): {"description": said, "required": True, "schema": _STRING}
            for name, said in headers.items()
        }
    return answer


_REFUSED: Final = _refusal("No token, or one without the scope.", WWW_Authenticate="Bearer [5].")
_AWAY: Final = _refusal("Who has a token cannot be looked up right now.")


def _answers(what: str, content: dict[str, Any]) -> dict[str, Any]:
    tag = {"description": "For If-None-Match [3].", "schema": _STRING}
    return {
        "200": {"description": what, "content": content, "headers": {"ETag": tag}},
        "304": {"description": "Nothing has changed since the ETag that was given [3]."},
        "401": _REFUSED,
        "503": _AWAY,
    }


def _query(
    name: str, what: str, schema: dict[str, Any], *, required: bool = False
) -> dict[str, Any]:
    return {
        "name": name,
        "in": "query",
        "required": required,
        "description": what,
        "schema": schema,
    }


_LIMIT: Final = _query(
    "limit",
    "Most of a page.",
    {"type": "integer", "minimum": 1, "maximum": MOST, "default": USUAL},
)
_FORMAT: Final = _query(
    "format", "Without it, by the Accept header.", _one_of_words(("json", "csv"))
)
_WRONG: Final = _refusal("A parameter is wrong; the text says which.")
_JOURNAL_AWAY: Final = _refusal("The journal, or who has a token, cannot be read right now.")


def _get(summary: str, responses: dict[str, Any], **also: object) -> dict[str, Any]:
    return {"get": {"summary": summary, **also, "responses": responses}}


DOCUMENT: Final[dict[str, Any]] = {
    "openapi": "3.1.0",
    "info": {
        "title": "rimewatch",
        "version": "1",
        "description": (
            "Temperatures are °C, times ISO 8601 in UTC. A record is evidence of what the probes "
            "measured, not a guarantee of food safety. Tokens: rimewatch people token. Further "
            "keys may be added to an answer; those named here keep their meaning."
        ),
    },
    "components": {
        "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        "schemas": _SCHEMAS,
    },
    "security": [{"token": []}],
    "paths": {
        "/api/units": _get(
            "Every unit as it is now.",
            _answers("The units.", _json(_list("units", "Unit", at=_INSTANT))),
        ),
        "/api/alarms": _get(
            "Alarms that are on, or returned and not yet acknowledged; or those of a period, "
            "page by page.",
            {
                **_answers("The alarms.", _json(_list("alarms", "Alarm", next=_or_null(_STRING)))),
                "404": _refusal("There is no alarm with the id that after gives."),
                "422": _WRONG,
                "503": _JOURNAL_AWAY,
            },
            parameters=[
                _query("from", "Those that stood then or later; with its zone.", _INSTANT),
                _query("to", "Those raised then or before; with its zone.", _INSTANT),
                _LIMIT,
                _query("after", "From the page before: its next.", _STRING),
            ],
        ),
        "/api/entries": _get(
            "What people entered, in the order it came, as JSON or CSV, page by page.",
            {
                **_answers(
                    "The entries. With CSV, Link leads to the next page [4].",
                    {
                        **_json(_list("entries", "Entry", next=_or_null({"type": "integer"}))),
                        "text/csv": {"schema": _STRING},
                    },
                ),
                "422": _WRONG,
                "503": _JOURNAL_AWAY,
            },
            parameters=[
                _query("from", "Of what was done then or later; with its zone.", _INSTANT),
                _query("to", "Of what was done then or before; with its zone.", _INSTANT),
                _LIMIT,
                _query(
                    "after",
                    "From the page before: its next. Or the last number known.",
                    {"type": "integer", "minimum": 0, "maximum": 10**12 - 1, "default": 0},
                ),
                _FORMAT,
            ],
        ),
        "/api/summaries": _get(
            "Mornings that have a summary, the latest first, page by page.",
            {
                **_answers(
                    "The mornings.",
                    _json(
                        _object(
                            summaries={"type": "array", "items": _object(date=_DATE)},
                            next=_or_null(_DATE),
                        )
                    ),
                ),
                "422": _WRONG,
                "503": _JOURNAL_AWAY,
            },
            parameters=[_LIMIT, _query("after", "From the page before: its next.", _DATE)],
        ),
        "/api/summaries/{date}": _get(
            "A morning's summary, as it was made then.",
            {
                **_answers(
                    "The summary.",
                    {
                        **_json("Summary"),
                        "text/plain": {"schema": _STRING},
                        "text/html": {"schema": _STRING},
                    },
                ),
                "404": _refusal("That morning has no summary."),
                "422": _WRONG,
                "503": _JOURNAL_AWAY,
            },
            parameters=[
                {
                    "name": "date",
                    "in": "path",
                    "required": True,
                    "description": "The morning's local date.",
                    "schema": _DATE,
                },
                _query(
                    "format",
                    "Without it, by the Accept header.",
                    _one_of_words(("json", "text", "html")),
                ),
            ],
        ),
        "/api/lots": _get(
            "Lots that are here.", _answers("The lots.", _json(_list("lots", "Lot")))
        ),
        "/api/readings": _get(
            "A probe's readings, as JSON or CSV, page by page.",
            {
                **_answers(
                    "The readings. With CSV, Link leads to the next page [4].",
                    {**_json("Readings"), "text/csv": {"schema": _STRING}},
                ),
                "404": _refusal("There is no such probe."),
                "422": _WRONG,
                "503": _JOURNAL_AWAY,
            },
            parameters=[
                _query("probe", "The probe's id.", _STRING, required=True),
                _query("from", "With its zone; without it, a day before to.", _INSTANT),
                _query("to", "With its zone; without it, now.", _INSTANT),
                _LIMIT,
                _query("after", "From the page before: its next.", _INSTANT),
                _FORMAT,
            ],
        ),
        "/api/health": _get(
            "Whether the watch is at work; needs no token.",
            {
                "200": {"description": "It is.", "content": _json("Health")},
                "503": {
                    "description": "Time was not followed for some minutes.",
                    "content": _json("Health"),
                },
            },
            security=[],
        ),
        "/api/openapi.json": _get(
            "This document; needs no token.",
            {"200": {"description": "The document.", "content": _json({"type": "object"})}},
            security=[],
        ),
        "/metrics": _get(
            "Counts and gauges, as OpenMetrics text [2].",
            {
                "200": {
                    "description": "The figures.",
                    "content": {CONTENT_TYPE: {"schema": _STRING}},
                },
                "401": _REFUSED,
                "503": _AWAY,
            },
        ),
    },
}
