"""Files of secrets that other users of the machine can read.

Looks at modes alone, never into a file. A file that lies in a folder nobody else may enter
is not exposed, whatever its own mode.
"""

import shlex
import stat
import tomllib
from collections.abc import Iterator
from pathlib import Path

from rimewatch.config.notation import file_name
from rimewatch.config.translate import SECRET_KEYS

PATH_KEYS = frozenset({"key_file"})
"""Keys whose file is itself the secret."""


def exposed_secrets(config: Path) -> list[str]:
    """Return a sentence for each file of a secret that everybody may read, with its cure.

    Args:
        config: The configuration, one that was read without a fault.
    """
    raw = tomllib.loads(config.read_bytes().decode("utf-8-sig"))
    named = {config.parent / file: key for file, key in _named(raw, "")}
    return [
        f"{key} is kept in {file}, which every user of this machine can read: "
        f"chmod 600 {shlex.quote(str(file))}"
        for file, key in named.items()
        if _is_open_to_all(file)
    ]


def _named(value: object, key: str) -> Iterator[tuple[str, str]]:
    """Yield path and key of each file that holds a secret."""
    last = key.rpartition(".")[2]
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _named(inner, f"{key}.{name}".removeprefix("."))
    elif isinstance(value, list):
        for inner in value:
            yield from _named(inner, key)
    elif isinstance(value, str) and last in PATH_KEYS:
        yield value, key
    elif isinstance(value, str) and last in SECRET_KEYS and (file := file_name(value)):
        yield file, key


def _is_open_to_all(file: Path) -> bool:
    try:
        where = file.resolve()
        is_entered = all(folder.stat().st_mode & stat.S_IXOTH for folder in where.parents)
        return is_entered and bool(where.stat().st_mode & stat.S_IROTH)
    except OSError:
        return False
