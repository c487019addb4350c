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
from datetime import date, time
from enum import StrEnum
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from rimewatch.config.problems import ConfigError, Problem
from rimewatch.config.reading import load_tables
from rimewatch.config.translate import SECRET_KEYS
from rimewatch.evaluation.settings import Change, differences, settings_of
from rimewatch.shop import Shop

Tables = Mapping[str, Any]
"""A configuration as its file's tables: texts, numbers, truths, lists and tables."""

REFERENCES: Final = ("env:", "file:")
"""What names a place where a secret is kept is no secret."""

HIDDEN: Final = "hidden-"
"""Stands for a secret in tables that are kept, with 16 bits that tell one from another: enough to
notice a change, and nobody guesses the secret by it."""


class Way(StrEnum):
    """By what way settings were changed."""

    FILE = "file"
    COMMAND = "command"
    PAGE = "page"


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
    return dict(_plain(tomllib.loads(text)))


def canonical(tables: Tables) -> str:
    """Return tables as JSON text, one text for equal tables: keys sorted, no spaces."""
    return json.dumps(
        _plain(tables), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def without_secrets(tables: Tables) -> dict[str, Any]:
    """Return tables as they may be kept and shown: a mark stands for each secret.

    >>> without_secrets({"contact": [{"urls": ["json://a:b@host/x", "env:FIRST"]}]})
    {'contact': [{'urls': ['json://hidden-4336', 'env:FIRST']}]}
    """
    return {key: _hidden(value) if key in SECRET_KEYS else _inside(value)
            for key, value in tables.items()}  # fmt: skip


def with_secrets(kept: Tables, now: Tables) -> dict[str, Any] | None:
    """Return tables that were kept with the secrets of today's put back in.

    Args:
        kept: Tables in which marks stand for secrets.
        now: The tables of now, secrets and all.

    Returns:
        None: a secret of then is another today, or gone; it has to be typed in anew.
    """
    known = {_mark(secret): secret for secret in _secrets(now)}
    found = _shown(kept, known)
    return None if any(HIDDEN in text for text in _secrets(found)) else dict(found)


def _inside(value: Any) -> Any:  # noqa: ANN401 (tables hold anything)
    if isinstance(value, Mapping):
        return without_secrets(value)
    if isinstance(value, list):
        return [_inside(item) for item in value]
    return _plain(value)


def _hidden(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, list):
        return [_hidden(item) for item in value]
    if isinstance(value, Mapping):
        return {key: _hidden(item) for key, item in value.items()}
    if not isinstance(value, str) or value.startswith(REFERENCES) or HIDDEN in value:
        return value
    return _mark(value)


def _mark(secret: str) -> str:
    scheme, found, _ = secret.partition("://")
    bits = sha256(secret.encode()).hexdigest()[:4]
    return f"{scheme}://{HIDDEN}{bits}" if found else f"{HIDDEN}{bits}"


def _secrets(value: Any, *, is_secret: bool = False) -> list[str]:  # noqa: ANN401
    if isinstance(value, Mapping):
        return [
            text
            for key, item in value.items()
            for text in _secrets(item, is_secret=is_secret or key in SECRET_KEYS)
        ]
    if isinstance(value, list):
        return [text for item in value for text in _secrets(item, is_secret=is_secret)]
    return [value] if is_secret and isinstance(value, str) else []


def _shown(value: Any, known: Mapping[str, str]) -> Any:  # noqa: ANN401
    if isinstance(value, Mapping):
        return {key: _shown(item, known) for key, item in value.items()}
    if isinstance(value, list):
        return [_shown(item, known) for item in value]
    return known.get(value, value) if isinstance(value, str) else value


def _plain(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, time):
        return f"{value:%H:%M}"
    return value.isoformat() if isinstance(value, date) else value
