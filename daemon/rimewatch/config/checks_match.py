"""What tells probes on one topic apart: a mark in the payload, or a level of the topic."""

from collections.abc import Iterator

from rimewatch.config.problems import Problem, show
from rimewatch.config.tables import MatchTable, ProbeTable
from rimewatch.config.topics import narrowed
from rimewatch.config.translate import Row


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
