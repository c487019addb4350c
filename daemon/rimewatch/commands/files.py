"""Writes whole files or none: a reader never sees half of one."""

import os
import tempfile
from pathlib import Path

from rimewatch.errors import UserError


def write_whole(path: Path, text: str) -> None:
    """Write a text file: a temporary one beside it, flushed to the disk, then renamed.

    Raises:
        UserError: If it cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(0o644)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise UserError(f"{path} cannot be written: {error.strerror or error}") from None
