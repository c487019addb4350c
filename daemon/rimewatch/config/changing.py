"""One checked way to change settings: the whole configuration before and after, held together.

The file, a command and the pages ask here, and get the same answer in the same sentences: what a
change makes of the shop, and key by key what is different; or everything that is wrong, each thing
beside its key. Pure but for what the configuration refers to (``env:``, ``file:``, a folder of
texts). Whoever is answered writes it down (``rimewatch.journal.settings``).

Settings are *tables*: what a TOML file holds, as JSON has it. Dates and times are texts.
"""

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Any

from rimewatch.config.problems import ConfigError, Problem
from rimewatch.config.reading import load_tables
from rimewatch.config.secrets import Tables, canonical, plain, with_secrets, without_secrets
from rimewatch.entries import ChangeSettings
from rimewatch.evaluation.settings import Change, differences, settings_of
from rimewatch.shop import Shop
from rimewatch.vocabulary import Kind

__all__ = [
    "Accepted",
    "Finding",
    "Proposed",
    "Refused",
    "Tables",
    "Way",
    "canonical",
    "check_change",
    "fault_of",
    "shop_of",
    "tables_of",
    "with_secrets",
    "without_secrets",
]


class Way(StrEnum):
    """By what way settings were changed."""

    FILE = "file"
    COMMAND = "command"
    PAGE = "page"
    START = "start"
    """No change: what held when the history of settings begins, and by what is known before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """A change that somebody asks for. Settings hold from its instant on, never before."""

    at_ms: int
    way: Way
    tables_before: Tables
    """What whoever asks has seen: held against what holds now, so that nothing is lost."""
    tables_after: Tables
    who: str = ""
    """Who asks; empty: nobody said, as of a file that was edited."""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that is wrong, beside its key."""

    path: str
    """Where, such as ``unit[1].limit_c`` (lists count from 0); empty: the whole."""
    sentence: str
    """What is wrong and what would be right: what ``check`` says of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Accepted:
    """A change that can be made."""

    shop: Shop
    """The shop as it is from then on."""
    changes: tuple[Change, ...]
    """What is different, key by key, secrets never named; empty: nothing is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A change that cannot be made; nothing of it has happened."""

    findings: tuple[Finding, ...]
    """At least one, in the order of the file."""

    @property
    def why(self) -> str:
        """All of it, a sentence each."""
        return "; ".join(finding.sentence for finding in self.findings)


def check_change(
    change: Proposed,
    environ: Mapping[str, str] | None = None,
    *,
    source: str = "shop.toml",
    folder: Path | None = None,
    sends: bool = True,
) -> Accepted | Refused:
    """Return what a change makes of the shop, or everything that is wrong with it.

    Args:
        change: What is asked for.
        environ: Where ``env:NAME`` is looked up; None: nowhere.
        source: What to call the file in sentences.
        folder: Where relative paths start; None: the working folder.
        sends: Whether messages will be sent by it; False leaves references to secrets alone.
    """
    try:
        shop = load_tables(change.tables_after, environ, source=source, folder=folder, sends=sends)
    except ConfigError as error:
        return Refused(findings=tuple(_finding(problem) for problem in error.problems))
    changes = differences(settings_before(change.tables_before), settings_of(shop), change.at_ms)
    return Accepted(shop=shop, changes=tuple(replace(item, who=change.who) for item in changes))


def settings_before(tables: Tables) -> dict[str, Any]:
    """Return the settings that tables stand for, key by key; none where they are not sound."""
    try:
        return dict(settings_of(load_tables(tables, sends=False)))
    except ConfigError:
        return {}


def _finding(problem: Problem) -> Finding:
    return Finding(path=problem.path, sentence=problem.text)


def tables_of(text: str) -> dict[str, Any]:
    """Return the tables of a TOML text, as JSON has them.

    Raises:
        ValueError: If it is no TOML.
    """
    return dict(plain(tomllib.loads(text)))


def shop_of(
    entry: ChangeSettings, *, source: str = "shop.toml", folder: Path | None = None
) -> Shop:
    """Return the shop under the settings of an entry; secrets in it are marks.

    Raises:
        ConfigError: With everything that is wrong, if anything is.
    """
    tables = json.loads(entry.settings)
    return load_tables(tables, source=source, folder=folder, sends=False)


def fault_of(
    entry: ChangeSettings, *, source: str = "shop.toml", folder: Path | None = None
) -> str:
    """Return everything that is wrong with the settings of an entry, as a check says it.

    Empty: nothing is.
    """
    try:
        shop_of(entry, source=source, folder=folder)
    except ConfigError as error:
        return "; ".join(problem.text for problem in error.problems)
    return ""


_CONCLUDES = ("shop", "unit", "probe", "species", "night", "priorities")
"""The tables that what is said of fish rests on."""


@lru_cache(maxsize=256)
def past_shop(settings: str) -> Shop:
    """Return what settings that held once say of units, probes and fish; of nothing else.

    Settings on the books are judged, not refused: where this version cannot read them, nobody is
    taken to have measured anything while they held.
    """
    tables = json.loads(settings)
    kept = {key: tables[key] for key in _CONCLUDES if key in tables}
    try:
        return load_tables(kept, sends=False)
    except ConfigError:
        bare = {
            "shop": {"name": "-", "timezone": "UTC"},
            "unit": [{"id": "-", "name": "-", "kind": Kind.DISPLAY_CASE.value}],
        }
        return load_tables(bare, sends=False)
