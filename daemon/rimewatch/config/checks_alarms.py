"""What keys say together about rotas, pages and the heartbeat.

As in ``rimewatch.config.checks``, each check looks only at keys that are right by
themselves, so one mistake is reported once.
"""

import re
from collections.abc import Iterator, Sequence
from typing import Final
from urllib.parse import urlsplit

from rimewatch.alarms.rota import gaps
from rimewatch.config.checks import check_known
from rimewatch.config.notation import address_and_port
from rimewatch.config.problems import Problem, show
from rimewatch.config.table import taken
from rimewatch.config.tables import ShopTable, WebTable
from rimewatch.config.tables_alarms import DAYS, HOLIDAY, RotaTable
from rimewatch.config.translate import Row
from rimewatch.config.web_address import is_web_address
from rimewatch.shop import Shift

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
