"""From the tables about rotas, stakes, words, pages and the heartbeat to plain values."""

import tomllib
from pathlib import Path
from types import MappingProxyType
from typing import Final
from urllib.parse import urlsplit

from rimewatch.config.destinations import Fault, Secrets, is_reference
from rimewatch.config.notation import address_and_port
from rimewatch.config.problems import NOT_SHOWN, Problem, show
from rimewatch.config.table import taken
from rimewatch.config.tables import WatchTable, WebTable
from rimewatch.config.tables_alarms import AtStakeTable, MessagesTable
from rimewatch.config.translate import Row
from rimewatch.shop import AtStake, MessageTexts, SelfWatch, Web

TEXTS_FILE: Final = "messages.toml"
LARGEST_TEXTS_BYTES: Final = 1_000_000


def web(row: Row[WebTable] | None) -> Web | None:
    """Return where the pages are found; None: there are none."""
    if row is None or row.table is None:
        return None
    listen = address_and_port(row.table.listen)
    if listen is None:
        return None  # refused already
    host, port = listen
    url = (row.table.url or "").rstrip("/")
    path = urlsplit(url).path if row.table.path is None else row.table.path
    return Web(host=host, port=port, url=url, path=path.rstrip("/"))


def at_stake(row: Row[AtStakeTable]) -> AtStake:
    """Return from when on what a unit holds makes its alarms more urgent."""
    return AtStake() if row.table is None else taken(AtStake, row.table)


def self_watch(
    row: Row[WatchTable], secrets: Secrets | None, problems: list[Problem]
) -> SelfWatch | None:
    """Return how somebody outside learns that all is well; the address resolved."""
    table = row.table
    if table is None:
        return None  # refused already
    url = table.heartbeat_url or ""
    if url and is_reference(url):
        resolved = secrets.resolve(url) if secrets is not None else ""
        if isinstance(resolved, Fault):
            problems.append(
                row.place.problem(
                    "heartbeat_url", resolved.shown, resolved.expected, resolved.verdict
                )
            )
            resolved = ""
        url = resolved
    if url and not url.startswith(("http://", "https://")):
        problems.append(
            row.place.problem(
                "heartbeat_url",
                NOT_SHOWN,
                'expected an address that begins with https:// or http://, or "env:NAME" or '
                '"file:PATH" that leads to one',
                "is no address that can be called",
            )
        )
    return taken(SelfWatch, table, heartbeat_url=url)


def message_texts(
    row: Row[MessagesTable], folder: Path | None, problems: list[Problem]
) -> MessageTexts | None:
    """Return the language and the shop's own sentences, read as they stand in their file.

    Whether they fit the shipped ones is checked where those are known
    (``rimewatch.report.texts``).
    """
    table = row.table
    if table is None:
        return None  # refused already
    if table.folder is None:
        return taken(MessageTexts, table)
    file = (Path(table.folder) if folder is None else folder / table.folder) / TEXTS_FILE
    try:
        if file.stat().st_size > LARGEST_TEXTS_BYTES:
            raise ValueError("it is too large")  # noqa: TRY301 (told like the other failures)
        overrides = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as failed:
        reason = failed.strerror if isinstance(failed, OSError) else str(failed)
        problems.append(
            row.place.problem(
                "folder",
                show(table.folder),
                f"expected a folder with a readable {TEXTS_FILE} in it",
                f"is {show(table.folder)} and its {TEXTS_FILE} can't be read ({reason})",
            )
        )
        return None
    return taken(MessageTexts, table, overrides=MappingProxyType(overrides), source=str(file))
