"""Writes whole files or none: a reader never sees half of one."""

import os
import tempfile
from pathlib import Path

from rimewatch.errors import UserError


def write_whole(path: Path, content: str | bytes, *, mode: int = 0o644) -> None:
    """Write a file, text as UTF-8: a temporary one beside it, flushed to the disk, then renamed.

    Raises:
        UserError: If it cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content.encode() if isinstance(content, str) else content)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(mode)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise UserError(f"{path} cannot be written: {error.strerror or error}") from None
