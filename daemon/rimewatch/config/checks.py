"""What keys say together: limits, times, ids, topics, the way alarms reach people.

Each check yields every problem it finds and looks only at keys that are right by
themselves, so one mistake is reported once.
"""

import re
from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Final
from urllib.parse import urlsplit

import jmespath
from jmespath.exceptions import JMESPathError

from rimewatch.alarms.rota import gaps
from rimewatch.config.columns import column_in
from rimewatch.config.notation import address_and_port
from rimewatch.config.problems import Problem, listed, nearest, show
from rimewatch.config.table import taken
from rimewatch.config.tables import (
    DAYS,
    DEFAULT_EVERY_S,
    DEFAULT_LIMIT_C,
    HOLIDAY,
    EscalationTable,
    MatchTable,
    NightTable,
    ProbeTable,
    RotaTable,
    ShopTable,
    UnitTable,
    WebTable,
)
from rimewatch.config.topics import narrowed, overlap, own_filter
from rimewatch.config.translate import AnyTable, Row
from rimewatch.config.web_address import is_web_address
from rimewatch.rules.provisions import COLD_HOLDING_LIMIT_C
from rimewatch.shop import Shift
from rimewatch.vocabulary import Measures, Scale, TrueMeans

TRUE_MEANS: Final = {
    Measures.DOOR: (TrueMeans.OPEN, TrueMeans.SHUT),
    Measures.WATER: (TrueMeans.WET, TrueMeans.DRY),
}


def check_ids(rows: Sequence[Row[AnyTable]]) -> Iterator[Problem]:
    """Yield every id that was already given to an earlier table of the same kind."""
    seen: dict[str, str] = {}
    for row in rows:
        given = row.raw.get("id")
        if not isinstance(given, str) or not row.right("id"):
            continue
        if given in seen:
            yield row.place.problem(
                "id",
                show(given),
                "expected an id of its own for each",
                f"is {show(given)}, as {seen[given]} has already",
            )
        seen.setdefault(given, row.place.path)


def check_unit(row: Row[UnitTable]) -> Iterator[Problem]:
    """Yield what is wrong with a unit as a whole."""
    unit, place = row.table, row.place
    if unit is None:
        return
    limit_c = DEFAULT_LIMIT_C[unit.kind] if unit.limit_c is None else unit.limit_c
    if (
        row.right("limit_c", "operating_limit_c")
        and unit.operating_limit_c is not None
        and unit.operating_limit_c >= limit_c
    ):
        yield place.problem(
            "operating_limit_c",
            show(unit.operating_limit_c),
            f"expected a number below limit_c ({limit_c} °C): it is the operating limit inside it",
        )
    if not row.right("limit_c", "kind", "laxer_because"):
        return
    if unit.kind.is_freezer:
        if limit_c > 0:
            yield place.problem(
                "limit_c",
                show(limit_c),
                "expected a limit at which fish stays frozen, 0 °C (32 °F) or less, such as "
                f"{DEFAULT_LIMIT_C[unit.kind]} °C (FDA Food Code 2022, 3-501.11: frozen food is "
                "kept frozen)",
            )
    elif limit_c > COLD_HOLDING_LIMIT_C and not unit.laxer_because.strip():
        yield place.problem(
            "limit_c",
            show(limit_c),
            f"expected {COLD_HOLDING_LIMIT_C} °C (41 °F) or less by FDA Food Code 2022, "
            '3-501.16(A)(2); if a laxer limit was granted, write laxer_because = "the reason"',
        )


def check_probe(row: Row[ProbeTable], units: Sequence[str] | None) -> Iterator[Problem]:
    """Yield what is wrong with a probe as a whole.

    Args:
        row: The probe.
        units: Every unit's id, also of units refused for something else; None: not known.
    """
    probe, place = row.table, row.place
    unit = row.raw.get("unit")
    if row.right("unit") and isinstance(unit, str):
        yield from check_known(row, "unit", unit, units, "[[unit]]")
    if probe is None:
        return
    every_s = probe.every_s or (None if probe.measures.is_contact else DEFAULT_EVERY_S)
    if (
        row.right("every_s", "stale_s")
        and every_s is not None
        and probe.stale_s is not None
        and probe.stale_s < every_s
    ):
        yield place.problem(
            "stale_s",
            show(probe.stale_s),
            f"expected at least every_s ({every_s:g} s), or the probe would be stale all the time",
        )
    if row.right("plausible_c") and probe.plausible_c is not None:
        low, high = probe.plausible_c
        if low >= high:
            yield place.problem(
                "plausible_c",
                show(probe.plausible_c),
                f"expected the lowest value first, such as {show([high, low])}"
                if low > high
                else "expected two different values, the lowest first",
            )
    if row.right("slope") and probe.slope <= 0:
        yield place.problem(
            "slope", show(probe.slope), "expected a factor above 0, such as 1.0: warmer is warmer"
        )
    damp = probe.humidity_high_percent
    if damp is not None and row.right("measures") and probe.measures is not Measures.HUMIDITY:
        yield place.problem(
            "humidity_high_percent",
            show(damp),
            'expected only where measures = "humidity"; give it to the humidity probe',
        )
    if row.right("fields", "format"):
        yield from _check_fields(row, probe)
    if row.right("true_means", "measures") and probe.true_means is not None:
        yield from _check_true_means(row, probe, probe.true_means)


def _check_true_means(
    row: Row[ProbeTable], probe: ProbeTable, true_means: TrueMeans
) -> Iterator[Problem]:
    words = TRUE_MEANS.get(probe.measures)
    if words is None:
        expected = 'expected only where measures is "door" or "water", whose probes send 1 or 0'
        yield row.place.problem("true_means", show(true_means.value), expected, "is given")
    elif true_means not in words:
        expected = f'expected "{words[0]}" or "{words[1]}" for a probe that measures '
        yield row.place.problem("true_means", show(true_means.value), expected + probe.measures)


def _check_fields(row: Row[ProbeTable], probe: ProbeTable) -> Iterator[Problem]:
    form, place = effective_format(probe), row.place
    if form == "number" and probe.fields is not None:
        yield place.problem(
            "fields",
            "a table",
            'expected no fields with format = "number" (the payload is the value), '
            'or format = "json"',
            "is given",
        )
    if form == "json":
        yield from _check_paths(row, probe)
    if form == "sparkplug":
        yield from _check_sparkplug(row, probe)
    if form == "csv":
        yield from _check_columns(row, probe)
    yield from check_match(row, form)
    if form != "json":
        yield from _check_json_alone(row, probe, form)
    if form == "senml":
        # RFC 8428: a record carries its unit and its time itself.
        if row.right("scale", "measures") and probe.scale is not Scale.CELSIUS:
            yield place.problem(
                "scale",
                show(probe.scale.value),
                "expected no scale with senml, which knows °C and kelvin by itself",
            )
        if probe.fields is not None and probe.fields.time is not None:
            yield place.problem(
                "fields.time",
                show(probe.fields.time),
                "expected no path to a time with senml, which has times of its own",
            )


def _check_sparkplug(row: Row[ProbeTable], probe: ProbeTable) -> Iterator[Problem]:
    # Sparkplug 3.0.0 (ISO/IEC 20237:2023), chapter 4: namespace/group/type/node[/device].
    levels = probe.topic.split("/")
    names = [levels[1], *levels[3:]] if len(levels) in (4, 5) else [""]
    is_source = levels[0] == "spBv1.0" and levels[2:3] == ["+"]
    if row.right("topic") and not (is_source and all(n and not set(n) & set("+#") for n in names)):
        yield row.place.problem(
            "topic",
            show(probe.topic),
            "expected spBv1.0/GROUP/+/NODE/DEVICE, or spBv1.0/GROUP/+/NODE for a metric of the "
            "node itself; the + stands for births, data and deaths",
        )
    if probe.fields is None or "value" not in probe.fields.model_fields_set:
        yield row.place.problem(
            "fields.value", "missing", "expected the metric's name, such as Temperature"
        )
    if probe.fields is not None and probe.fields.time is not None:
        yield row.place.problem(
            "fields.time",
            show(probe.fields.time),
            "expected no path to a time with sparkplug, whose metrics have times of their own",
        )


def _check_columns(row: Row[ProbeTable], probe: ProbeTable) -> Iterator[Problem]:
    given = probe.fields.model_dump(exclude_none=True, exclude_unset=True) if probe.fields else {}
    expected = 'expected the column and how many there are, such as "2 of 3"'
    if "value" not in given:
        yield row.place.problem("fields.value", "missing", expected)
    found = {key: column_in(text) for key, text in given.items() if key != "unit"}
    for key, column in found.items():
        others = {other.of for other in found.values() if other is not None}
        if column is None:
            yield row.place.problem(f"fields.{key}", show(given[key]), expected)
        elif len(others) > 1 and column.of != max(others):
            cure = f"expected as many columns as elsewhere in fields, {max(others)}: it is one line"
            yield row.place.problem(f"fields.{key}", show(given[key]), cure)


def _check_json_alone(row: Row[ProbeTable], probe: ProbeTable, form: str) -> Iterator[Problem]:
    if probe.fields is not None and probe.fields.unit is not None:
        yield row.place.problem(
            "fields.unit",
            show(probe.fields.unit),
            'expected no path to a unit but with format = "json", whose payload it looks into',
            "is given",
        )
    if form != "csv" and row.right("time_zone") and probe.time_zone is not None:
        yield row.place.problem(
            "time_zone",
            show(probe.time_zone),
            'expected no time_zone but with format = "json" or "csv", whose payload it looks into',
            "is given",
        )


def _check_paths(row: Row[ProbeTable], probe: ProbeTable) -> Iterator[Problem]:
    given = probe.fields.model_dump(exclude_none=True) if probe.fields else {}
    paths = {f"fields.{key}": path for key, path in given.items()}
    if probe.match is not None and probe.match.field is not None:
        paths["match.field"] = probe.match.field
    for key, path in paths.items():
        try:
            jmespath.compile(path)
        except JMESPathError:
            quoted = "'" + '"' + path.replace('"', "") + '"' + "'"
            yield row.place.problem(
                key,
                show(path),
                'expected a JMESPath into the payload, such as "t" or "sensor.temp" '
                f"(a name with other signs goes in quotes twice: {quoted})",
            )


def check_topics(rows: Sequence[Row[ProbeTable]]) -> Iterator[Problem]:
    """Yield every probe whose messages can't be told from an earlier probe's."""
    readable = [
        (row, row.table)
        for row in rows
        if row.table and row.right("topic", "fields", "format", "match")
    ]
    for (_, first), (row, second) in combinations(readable, 2):
        if not overlap(
            *(own_filter(one.topic, one.match) for one in (first, second))
        ) or _told_apart(first, second):
            continue
        same = first.topic == second.topic
        yield row.place.problem(
            "topic",
            show(second.topic),
            "expected a topic for each probe, or format and fields that take different values "
            "from one payload",
            f"is {show(second.topic)}, which probe {show(first.id)} "
            + ("reads already" if same else f"reads already by {show(first.topic)}"),
        )


def effective_format(probe: ProbeTable) -> str:
    """Return how a probe's payload is written, the default filled in."""
    return probe.format or ("number" if probe.fields is None else "json")


def value_path(probe: ProbeTable) -> str | None:
    """Return where a probe's value stands in its payload; None: the payload is the value."""
    if effective_format(probe) == "number":
        return None
    return probe.fields.value if probe.fields else "value"


def _told_apart(first: ProbeTable, second: ProbeTable) -> bool:
    marks = first.match, second.match
    if marks[0] and marks[1] and marks[0].field and marks[0].field == marks[1].field:
        ours, theirs = (mark.equals for mark in marks if mark)
        if ours != theirs or type(ours) is not type(theirs):
            return True
    one_format = effective_format(first) == effective_format(second)
    return one_format and value_path(first) != value_path(second)


def check_night(row: Row[NightTable]) -> Iterator[Problem]:
    """Yield what is wrong with the night as a whole."""
    night = row.table
    if night is not None and row.right("from", "to") and night.begins == night.ends:
        yield row.place.problem(
            "to",
            f'"{night.ends:%H:%M}"',
            "expected another time than from: a night that ends as it begins is no night "
            "or a whole day; leave [night] out if every alarm may sound at any hour",
        )


def check_escalation(
    rows: Sequence[Row[EscalationTable]],
    contacts: Sequence[str] | None,
    rotas: Sequence[str] | None = (),
) -> Iterator[Problem]:
    """Yield what is wrong with the steps, one by one and in their order."""
    known = None if contacts is None or rotas is None else [*contacts, *dict.fromkeys(rotas)]
    before: float | None = None
    for row in rows:
        given = row.raw.get("contacts")
        if row.right("contacts") and isinstance(given, list):
            for index, contact in enumerate(given):
                yield from check_known(row, f"contacts[{index}]", contact, known, "[[contact]]")
        after_s = row.table.after_s if row.table and row.right("after_s") else None
        if after_s is None:
            continue
        if before is not None and after_s <= before:
            yield row.place.problem(
                "after_s",
                show(after_s),
                f"expected more than the step before ({before:g} s): steps go in order of time",
            )
        before = after_s


def check_known(
    row: Row[AnyTable], key: str, given: str, ids: Sequence[str] | None, what: str
) -> Iterator[Problem]:
    """Yield that an id names nothing; None for ``ids``: that can't be judged."""
    if ids is None or given in ids:
        return
    meant = nearest(given, ids)
    cure = f'did you mean "{meant}"?' if meant else f"expected one of {listed(ids)}"
    yield row.place.problem(key, show(given), cure, f"is {show(given)} and no {what} has that id")


def check_match(row: Row[ProbeTable], form: str) -> Iterator[Problem]:
    """Yield what is wrong with a probe's mark.

    Args:
        row: The probe.
        form: How its payload is written, the default filled in.
    """
    mark = row.table.match if row.table else None
    if mark is None or not row.right("match"):
        return
    if (mark.field is None) == (mark.level is None):
        yield row.place.problem(
            "match",
            "a table",
            'expected either field, a path into the payload, or level, which names a "+" of the '
            'topic by its place, such as { level = 2, equals = "case-1" }',
            "has both field and level" if mark.field else "has neither field nor level",
        )
    elif mark.level is not None:
        yield from _check_level(row, mark, mark.level, form)
    elif form != "json":
        yield row.place.problem(
            "match",
            "a table",
            'expected no match.field but with format = "json", whose payload it looks into; '
            "match.level looks at the topic",
            "is given",
        )


def _check_level(
    row: Row[ProbeTable], mark: MatchTable, level: int, form: str
) -> Iterator[Problem]:
    assert row.table is not None, "only a table has a mark"
    topic, equals = row.table.topic, mark.equals
    if form == "sparkplug":
        yield row.place.problem(
            "match.level",
            show(level),
            "expected no match with sparkplug, whose topic names node and device",
            "is given",
        )
    elif not isinstance(equals, str) or not equals or set(equals) & set("/+#"):
        yield row.place.problem(
            "match.equals",
            show(equals),
            'expected one level of a topic, a text without "/", "+" and "#", such as "case-1"',
        )
    elif row.right("topic") and narrowed(topic, level, equals) is None:
        yield row.place.problem(
            "match.level",
            show(level),
            f'expected the place of a "+" in {show(topic)}, or one that its "#" stands for, '
            "counted from 1",
        )


MOST_GAPS_TOLD: Final = 6
"""Enough to see the pattern; the rest follows from mending these."""

LONGEST_PATH: Final = 100

PAGE_NAMES: Final = frozenset(
    [
        "a",
        "acknowledge",
        "api",
        "health",
        "lot",
        "lots",
        "metrics",
        "mornings",
        "now",
        "records",
        "set-up",
        "settings",
        "shelve",
        "sign-in",
        "sign-out",
        "static",
        "unit",
        "unshelve",
    ]
)
"""What the pages' own addresses begin with: below a path of that name it could not be told
whether a proxy has taken the path away."""

_SEGMENT: Final = re.compile(r"[A-Za-z0-9._~-]+")
_PATH_EXPECTED: Final = (
    "expected a path of letters, digits and -._~ that is none of the pages' own, such as "
    '"/rimewatch"'
)


def shift_of(table: RotaTable) -> Shift:
    """Return a shift as the service knows it."""
    return taken(
        Shift,
        table,
        rota=table.id,
        days=frozenset(DAYS.index(day) for day in table.days if day != HOLIDAY),
        on_holidays=HOLIDAY in table.days,
    )


def check_rotas(
    rows: Sequence[Row[RotaTable]], shop: Row[ShopTable] | None, contacts: Sequence[str] | None
) -> Iterator[Problem]:
    """Yield what is wrong with the rotas: an unknown contact, a name taken, an hour uncovered."""
    for row in rows:
        given = row.raw.get("contacts")
        if row.right("contacts") and isinstance(given, list):
            for index, contact in enumerate(given):
                yield from check_known(row, f"contacts[{index}]", contact, contacts, "[[contact]]")
        name = row.raw.get("id")
        if row.right("id") and contacts is not None and name in contacts:
            yield row.place.problem(
                "id",
                show(name),
                "expected a name of its own: escalation could not tell them apart",
                f"is {show(name)}, as a [[contact]] has already",
            )
    tables = [row.table for row in rows]
    if not all(table is not None and row.right() for row, table in zip(rows, tables, strict=True)):
        return
    if any(row.wrong for row in rows) or (shop is not None and not shop.right("holidays")):
        return  # what a refused key would cover can't be judged
    holidays = shop.table.holidays if shop is not None and shop.table is not None else []
    for rota in dict.fromkeys(table.id for table in tables if table is not None):
        own = [(row, table) for row, table in zip(rows, tables, strict=True) if table is not None]
        first = next(row for row, table in own if table.id == rota)
        shifts = [shift_of(table) for _, table in own if table.id == rota]
        found = [f"{gap.begins} to {gap.ends}" for gap in gaps(shifts, holidays)]
        if found:
            told = ", ".join(found[:MOST_GAPS_TOLD])
            more = f" and {len(found) - MOST_GAPS_TOLD} more" if len(found) > MOST_GAPS_TOLD else ""
            yield first.place.problem(
                "",
                show(rota),
                "expected somebody at every hour: add a shift, or lengthen one",
                f"leaves nobody on call {told}{more}",
            )


def check_web(row: Row[WebTable]) -> Iterator[Problem]:
    """Yield what is wrong with the address of the pages, and with where they are served."""
    table = row.table
    if table is None:
        return
    if row.right("listen") and address_and_port(table.listen) is None:
        yield row.place.problem(
            "listen",
            show(table.listen),
            'expected an address and a port from 1 to 65535, such as "127.0.0.1:8080"',
        )
    if row.right("url") and table.url is not None and not is_web_address(table.url):
        yield row.place.problem(
            "url",
            show(table.url),
            "expected https://HOST or http://HOST, with a path at most, such as "
            '"https://rime.example.com"',
        )
    yield from _check_path(row, table)


def _check_path(row: Row[WebTable], table: WebTable) -> Iterator[Problem]:
    """Yield what is wrong with the path below which the pages are served."""
    url = table.url or ""
    url_is_right = row.right("url") and bool(url) and is_web_address(url)
    of_url = urlsplit(url).path.rstrip("/") if url_is_right else ""
    if table.path is None:
        if url_is_right and not _serves_below(of_url):
            yield row.place.problem("url", show(url), _PATH_EXPECTED)
        return
    if not row.right("path"):
        return
    path = table.path.rstrip("/")
    if not _serves_below(path):
        yield row.place.problem("path", show(table.path), _PATH_EXPECTED)
    elif url_is_right and path != of_url:
        yield row.place.problem(
            "path",
            show(table.path),
            f"expected url to end in the same path, such as "
            f'"{urlsplit(url)._replace(path=path).geturl()}"',
            f"is {show(table.path)} and url has {show(of_url) if of_url else 'no path'}",
        )


def _serves_below(path: str) -> bool:
    """Return whether pages can be served below a path; empty: at the root.

    >>> _serves_below("/rimewatch"), _serves_below("/a b"), _serves_below("/lots")
    (True, False, False)
    """
    if not path:
        return True
    segments = path.removeprefix("/").split("/")
    plain = path.startswith("/") and len(path) <= LONGEST_PATH
    return (
        plain
        and all(_SEGMENT.fullmatch(segment) and set(segment) != {"."} for segment in segments)
        and segments[0] not in PAGE_NAMES
    )
