"""Writes the reference from the code: configuration, commands, limits, interface, species.

    python .ci/make_reference.py            writes docs/reference/*.md
    python .ci/make_reference.py --check    says what differs from the code, exit code 1

A test runs the check, so that no page tells of something that is not so.
"""

import difflib
import json
import re
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, Final

import click

from rimewatch.cli import every_command, rimewatch
from rimewatch.config import json_schema
from rimewatch.lots.catalogue import SPECIES
from rimewatch.rules.provisions import PROVISIONS
from rimewatch.web.api_document import DOCUMENT

FOLDER: Final = Path(__file__).parents[1] / "docs" / "reference"
WIDTH: Final = 96
CITATION: Final = re.compile(r" \[[0-9]+\](?=\.|$)")
"""A number of a module's list of references, which a page does not have."""
SPECIES_COLUMNS: Final = (
    "Species",
    "Other names",
    "Japanese",
    "Spanish",
    "French",
    "Exempt",
    "Histamine",
    "Toxin",
    "Parasites of the wild fish",
    "Notes",
)
MADE: Final = "<!-- Made from the code by `make reference`; not to be edited by hand. -->\n"


def configuration() -> str:
    """Return the page about every table and key of the configuration file."""
    schema = json_schema()
    lines = [
        "# Configuration\n",
        MADE,
        """A TOML file; `config/saltmarsh-row.toml` is one with every table. Temperatures end in
`_c` and are °C, durations end in `_s` and are seconds. `rimewatch check` names each mistake.
""",
    ]
    for name, place in schema["properties"].items():
        is_list = place.get("type") == "array"
        table = _definition(schema, place["items"] if is_list else place)
        lines.append(f"## `{'[[' if is_list else '['}{name}{']]' if is_list else ']'}`\n")
        lines.append(f"{place.get('description') or table.get('description', '')}\n")
        lines.extend(_keys(schema, table))
    return "\n".join(lines)


def _keys(schema: dict[str, Any], table: dict[str, Any]) -> Iterator[str]:
    required = set(table.get("required", ()))
    yield "| Key | | Default | Example |"
    yield "|---|---|---|---|"
    for key, about in table["properties"].items():
        if key in required:
            default = "*must be given*"
        elif about.get("default") in (None, "", [], {}):
            default = ""
        else:
            default = f"`{_toml(about['default'])}`"
        example = "".join(f"`{_toml(one)}`" for one in about.get("examples", ())[:1])
        words = about.get("description", "")
        if choices := _choices(schema, about):
            words = f"{words} One of {', '.join(f'`{choice}`' for choice in choices)}."
        yield f"| `{key}` | {_cell(words)} | {_cell(default)} | {_cell(example)} |"
    yield ""


def _definition(schema: dict[str, Any], place: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = schema["$defs"][place["$ref"].rsplit("/", 1)[1]]
    return found


def _choices(schema: dict[str, Any], about: dict[str, Any]) -> list[str]:
    """Return the closed set of words a key may hold; empty: it is no such key."""
    options = [about, *about.get("anyOf", ())]
    for option in [*options, *(_definition(schema, o) for o in options if "$ref" in o)]:
        if "enum" in option:
            return [str(word) for word in option["enum"]]
    return []


def _toml(value: object) -> str:
    """Return a value as a TOML file writes it, where that differs from JSON."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def commands() -> str:
    """Return the page with the help of every command."""
    lines = ["# Commands\n", MADE, "What `--help` says of each.\n"]
    for words, command in every_command():
        path = f"{rimewatch.name} {words}"
        context = click.Context(command, info_name=path, **rimewatch.context_settings)
        context.max_content_width = context.terminal_width = WIDTH
        lines += [f"{'#' * len(path.split())} {path}\n", "```text"]
        lines += [command.get_help(context), "```\n"]
    return "\n".join(lines)


def provisions() -> str:
    """Return the page with every published limit and its source."""
    lines = [
        "# Provisions\n",
        MADE,
        """Every published limit that rimewatch uses, once, with its source. Local codes and the
licensed authority come first; the person in charge decides about the fish. *Read*: the figure was
read in a copy of the text. *From memory*: it was not; look it up before you rely on it.
""",
    ]
    by_document: dict[str, list[Any]] = {}
    for provision in PROVISIONS.values():
        by_document.setdefault(f"{provision.document}, {provision.edition}", []).append(provision)
    for document, rows in by_document.items():
        lines += [
            f"## {document}\n",
            "| Section | | Value | Used by | Seen |",
            "|---|---|---|---|---|",
        ]
        for row in rows:
            values = row.value if isinstance(row.value, tuple) else (row.value,)
            unit = "" if row.unit == "names" else row.unit
            value = f"{', '.join(map(str, values))} {unit}".strip()
            used = ", ".join(row.used_by)
            cells = (row.section, row.text, value, used, row.confidence)
            lines.append(f"| {' | '.join(_cell(str(cell)) for cell in cells)} |")
        lines.append("")
    return "\n".join(lines)


def species() -> str:
    """Return the page with every fish of the catalogue, and the names that settle nothing."""
    lines = [
        "# Species\n",
        MADE,
        f"""The {len(SPECIES)} species and forms that a name at receipt may mean. An unknown name is
taken, and needs destruction; a name that several fish share likewise. A shop adds its own with
`[[species]]`. Local codes and the licensed authority come first; the person in charge decides.

Names are usage of the trade, *from memory*. *Exempt* is FDA Food Code 2022, 3-402.11(B), whose
text was read. *Histamine* follows the FDA Hazards and Controls Guidance, 4th ed., chapter 3,
table 3-2, toxins its chapter 6, parasites its chapter 5 and the health ministry of Japan, all
*from memory*; an empty cell is no proof that a fish has none. Read the source before you rely on
a cell.
""",
        f"| {' | '.join(SPECIES_COLUMNS)} |",
        f"|{'---|' * len(SPECIES_COLUMNS)}",
    ]
    for fish in SPECIES:
        cells = (
            fish.label,
            ", ".join(fish.other_names),
            ", ".join(fish.japanese),
            ", ".join(fish.spanish),
            ", ".join(fish.french),
            (fish.group.exemption or "").removeprefix("3-402.11"),
            "yes" if fish.forms_scombrotoxin else "",
            "" if fish.toxin is None else fish.toxin.value,
            ", ".join(parasite.value for parasite in fish.parasites),
            fish.notes,
        )
        lines.append(f"| {' | '.join(_cell(cell) for cell in cells)} |")
    lines.append("")
    return "\n".join(lines)


def interface() -> str:
    """Return the page about the HTTP interface."""
    lines = [
        "# HTTP interface\n",
        MADE,
        f"{DOCUMENT['info'].get('description', '')}\n",
        "The document itself is at `/api/openapi.json`.\n",
    ]
    for path, operations in DOCUMENT["paths"].items():
        for method, about in operations.items():
            if method not in ("get", "post", "put", "delete"):
                continue
            lines += [f"## `{method.upper()} {path}`\n", f"{about['summary']}\n"]
            if parameters := [_resolved(p) for p in about.get("parameters", ())]:
                lines += ["| Parameter | In | |", "|---|---|---|"]
                lines += [
                    f"| `{p['name']}` | {p['in']} | {_cell(p.get('description', ''))} |"
                    for p in parameters
                ]
                lines.append("")
            lines += ["| Answer | |", "|---|---|"]
            lines += [
                f"| {code} | {_cell(_resolved(answer).get('description', ''))} |"
                for code, answer in about["responses"].items()
            ]
            lines.append("")
    return "\n".join(lines)


def _resolved(place: dict[str, Any]) -> dict[str, Any]:
    found: Any = place
    if "$ref" in place:
        found = DOCUMENT
        for part in place["$ref"].removeprefix("#/").split("/"):
            found = found[part]
    resolved: dict[str, Any] = found
    return resolved


def _cell(text: str) -> str:
    return " ".join(CITATION.sub("", text).split()).replace("|", "\\|")


PAGES: Final[dict[str, Callable[[], str]]] = {
    "configuration.md": configuration,
    "commands.md": commands,
    "provisions.md": provisions,
    "interface.md": interface,
    "species.md": species,
}


def stale_pages() -> Iterable[str]:
    """Yield what differs between each page and the code."""
    for name, page in PAGES.items():
        path = FOLDER / name
        there = path.read_text(encoding="utf-8") if path.exists() else ""
        yield from difflib.unified_diff(
            there.splitlines(),
            page().splitlines(),
            f"docs/reference/{name}",
            "the code",
            lineterm="",
        )


def main() -> None:
    """Write the pages, or check them."""
    if sys.argv[1:] == ["--check"]:
        if differences := list(stale_pages()):
            click.echo("\n".join(differences))
            click.echo("The reference is not what the code says; run make reference.", err=True)
            sys.exit(1)
        return
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, page in PAGES.items():
        (FOLDER / name).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
