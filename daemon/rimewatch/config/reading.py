"""The way from a file to a ``Shop``: parse, check everything, refuse or build.

Reads the given file and what it refers to; connects to nothing and sends nothing.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import NoneType
from typing import Any, Final, get_args, get_origin

from pydantic.fields import FieldInfo

from rimewatch.config.broker import check_broker
from rimewatch.config.build import build_shop
from rimewatch.config.checks import (
    check_escalation,
    check_ids,
    check_night,
    check_probe,
    check_rotas,
    check_topics,
    check_unit,
    check_web,
)
from rimewatch.config.checks_species import check_species
from rimewatch.config.destinations import Secrets
from rimewatch.config.mirror import check_mirror
from rimewatch.config.problems import ConfigError, Problem, show
from rimewatch.config.secrets import canonical, without_secrets
from rimewatch.config.table import Table
from rimewatch.config.tables import (
    BrokerTable,
    ContactTable,
    EscalationTable,
    File,
    MirrorTable,
    NightTable,
    ProbeTable,
    RotaTable,
    ShopTable,
    SpeciesTable,
    UnitTable,
    WebTable,
)
from rimewatch.config.translate import (
    AnyTable,
    Place,
    Row,
    Rows,
    keys_of,
    read_table,
    unknown_key,
)
from rimewatch.shop import Shop

LARGEST_FILE_BYTES: Final = 4_000_000
"""No shop's file comes near; a device or a trace given by mistake goes beyond."""


def read_shop(path: Path, environ: Mapping[str, str], *, sends: bool = True) -> Shop:
    """Read a shop's configuration file.

    Args:
        path: The TOML file. Relative paths inside it start from its folder.
        environ: Where ``env:NAME`` is looked up.
        sends: Whether messages will be sent and the broker be connected to. False (a
            replay) leaves references to secrets alone: a contact then has only the
            addresses that are written out, which are taken as they stand, and the broker
            no password.

    Returns:
        The shop, every default filled in.

    Raises:
        ConfigError: With everything that is wrong, if anything is.
    """
    source = path.name or str(path)
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise ConfigError([_file_problem(source, "is too large", "expected a TOML file")])
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as failed:
        reason = failed.strerror or type(failed).__name__
        problem = _file_problem(
            source, f"can't be read ({reason})", "expected the path of a readable TOML file"
        )
        raise ConfigError([problem]) from None
    except UnicodeDecodeError as failed:
        problem = _file_problem(
            source,
            f"is not UTF-8 text (at byte {failed.start})",
            "expected a TOML file saved as UTF-8",
        )
        raise ConfigError([problem]) from None
    return load_shop(text, environ, source=source, folder=path.parent, sends=sends)


def load_shop(
    text: str,
    environ: Mapping[str, str] | None = None,
    *,
    source: str = "shop.toml",
    folder: Path | None = None,
    sends: bool = True,
) -> Shop:
    """Make a shop of a configuration's text.

    Args:
        text: TOML.
        environ: Where ``env:NAME`` is looked up; None: nowhere.
        source: What to call the file in messages.
        folder: Where relative paths start; None: the working folder.
        sends: As in :func:`read_shop`.

    Raises:
        ConfigError: With everything that is wrong, if anything is.
    """
    try:
        raw = tomllib.loads(text)
    except ValueError as failed:  # TOMLDecodeError, and plain ones for numbers without end
        raise ConfigError([_syntax_problem(str(failed), source, text)]) from None
    except RecursionError:
        problem = _file_problem(source, "is nested too deeply", "expected tables of plain values")
        raise ConfigError([problem]) from None
    return load_tables(raw, environ, source=source, folder=folder, sends=sends)


def load_tables(
    tables: Mapping[str, Any],
    environ: Mapping[str, str] | None = None,
    *,
    source: str = "shop.toml",
    folder: Path | None = None,
    sends: bool = True,
) -> Shop:
    """Make a shop of a configuration's tables, as they are read from TOML or JSON.

    Args:
        tables: The file's tables; nothing in them is changed.
        environ: As in :func:`load_shop`.
        source: As in :func:`load_shop`.
        folder: As in :func:`load_shop`.
        sends: As in :func:`read_shop`.

    Raises:
        ConfigError: With everything that is wrong, if anything is.
    """
    problems: list[Problem] = []
    rows = _read_tables(dict(tables), source, problems)
    problems.extend(_check(rows))
    secrets = Secrets(environ=environ or {}, folder=folder) if sends else None
    shop = build_shop(rows, secrets, problems, folder)
    if problems:
        raise ConfigError(_in_file_order(problems))
    assert shop is not None, "nothing was refused, yet no shop was built"
    return replace(shop, said=canonical(without_secrets(tables)))


def _read_tables(raw: dict[str, Any], source: str, problems: list[Problem]) -> Rows:
    top = Place(source, "", "")
    known = keys_of(File)
    problems.extend(unknown_key(top, key, known) for key in raw if key not in known)

    def of(key: str, info: FieldInfo) -> tuple[type[Table], list[Row[Any]]]:
        model, is_list = _model_of(info)
        if not is_list:
            if key not in raw and not isinstance(info.default, Table):
                return model, []
            place = Place(source, key, f"[{key}]")
            return model, [read_table(model, raw.get(key, {}), place, problems)]
        tables = raw.get(key, [])
        if isinstance(tables, list):
            return model, [
                read_table(model, table, _place(source, key, index, table), problems)
                for index, table in enumerate(tables)
            ]
        problems.append(
            top.problem(
                key,
                show(tables),
                f"expected [[{key}]] in double brackets for each",
                "is written once for all",
            )
        )
        return model, []

    if "shop" not in raw:
        problems.append(
            top.problem(
                "shop", "missing", "expected a [shop] table with name and timezone", "is missing"
            )
        )
    rows = Rows(dict(of(key, info) for key, info in File.model_fields.items()))
    if not raw.get("unit"):
        problems.append(
            top.problem(
                "unit", "missing", "expected at least one [[unit]]: a case, walk-in or freezer"
            )
        )
    return rows


def _model_of(info: FieldInfo) -> tuple[type[Table], bool]:
    """Return what one of the file's tables may hold, and whether there may be several."""
    is_list = get_origin(info.annotation) is list
    model = next((one for one in get_args(info.annotation) if one is not NoneType), info.annotation)
    assert isinstance(model, type), f"{info.annotation} is no table"
    assert issubclass(model, Table), f"{info.annotation} is no table"
    return model, is_list


def _check(rows: Rows) -> list[Problem]:
    units, contacts = _ids(rows.every(UnitTable)), _ids(rows.every(ContactTable))
    found: list[Problem] = [
        *check_broker(rows.the(BrokerTable)),
        *check_ids(rows.every(UnitTable)),
        *check_ids(rows.every(ProbeTable)),
        *check_ids(rows.every(ContactTable)),
        *check_topics(rows.every(ProbeTable)),
        *check_species(rows.every(SpeciesTable)),
        *check_escalation(rows.every(EscalationTable), contacts, _ids(rows.every(RotaTable))),
        *check_rotas(rows.every(RotaTable), rows.one(ShopTable), contacts),
    ]
    for unit in rows.every(UnitTable):
        found.extend(check_unit(unit))
    for probe in rows.every(ProbeTable):
        found.extend(check_probe(probe, units))
    for night in rows.every(NightTable):
        found.extend(check_night(night))
    for web in rows.every(WebTable):
        found.extend(check_web(web))
    for mirror in rows.every(MirrorTable):
        found.extend(check_mirror(mirror))
    return found


def _ids(rows: Sequence[Row[AnyTable]]) -> list[str] | None:
    """Return every id given, also of tables refused for another reason.

    None if an id itself was refused: what refers to it can't be judged, and is not
    to be refused for the same cause.
    """
    if not all(row.raw and row.right("id") for row in rows):
        return None
    return [str(row.raw["id"]) for row in rows]


def _place(source: str, key: str, index: int, table: object) -> Place:
    name = "common" if key == "species" else "id"
    given = table.get(name) if isinstance(table, dict) else None
    if isinstance(given, str) and given and key != "escalation":
        subject = f"{key} {show(given)}"
    else:
        subject = f"[[{key}]] number {index + 1}"
    return Place(source, f"{key}[{index}]", subject)


def _in_file_order(problems: list[Problem]) -> list[Problem]:
    """Sort by section and entry, so that people can go through the file from top to bottom."""
    order = {key: number for number, key in enumerate(keys_of(File))}

    def place(problem: Problem) -> tuple[int, int]:
        match = re.match(r"(\w+)(?:\[(\d+)\])?", problem.path)
        if match is None:
            return (-1, 0)
        return (order.get(match[1], -1), int(match[2] or -1))

    return sorted(problems, key=place)


def _file_problem(source: str, verdict: str, expected: str) -> Problem:
    return Problem(
        source=source, path="", subject="", key="", value="", expected=expected, verdict=verdict
    )


def _syntax_problem(message: str, source: str, text: str) -> Problem:
    # The parser says "… (at line 3, column 5)" or "… (at end of document)". Of the text it
    # names single characters and keys; keys are left out, one never knows what was pasted.
    reason, _, position = message.partition(" (at ")
    reason = re.sub(r"\(.*\)|'.{4,}'", "a key", reason[:1].lower() + reason[1:])
    match = re.match(r"line (\d+), column (\d+)", position)
    if match:
        where = f"line {match[1]}, column {match[2]}"
    elif position:
        where = f"line {text.rstrip().count(chr(10)) + 1}, at the end,"
    else:
        where, reason = "a number in it", "it is too long"
    twice = any(word in reason for word in ("overwrite", "twice", "duplicate", "mutate"))
    return _file_problem(
        source,
        f"{where} can't be read ({reason})",
        "expected each key and table to be written once"
        if twice
        else "expected TOML there; look for a missing quote, bracket or = sign",
    )
