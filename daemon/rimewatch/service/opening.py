"""Opens the journal at the start; where its file or its disk is broken, fish is watched meanwhile.

A journal that was never one, a missing folder or a newer schema is somebody's slip: it is
refused. A damaged file, a disk that fails, is full or has gone read-only befalls a machine
at night, when a restart must not end the watch. Then the first contacts are told, something
stands in, and the file is tried again and again until somebody has put it right.
"""

import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final

from rimewatch.clock import Clock
from rimewatch.journal.errors import (
    JournalBarred,
    JournalDamaged,
    JournalError,
    JournalFailing,
    JournalFull,
    NotAJournal,
)
from rimewatch.journal.journal import Journal
from rimewatch.service.cry import CryForHelp
from rimewatch.service.surroundings import Surroundings
from rimewatch.service.systemd import Notifier
from rimewatch.shop import Shop

TRY_EVERY_S: Final = 30.0
TURN_S: Final = 1.0
"""How often the service manager is told that we are alive meanwhile."""
GRACE_S: Final = 5.0


def open_or_stand_in(
    path: Path,
    shop: Shop,
    clock: Clock,
    around: Surroundings,
    *,
    say: Callable[[str], None],
    stop: threading.Event,
    notifier: Notifier,
) -> Journal | None:
    """Return the journal, open; None if the service was told to stop before it could be opened.

    Raises:
        JournalError: If it cannot be opened, and waiting would not help or nothing stands in.
    """
    try:
        return around.open_journal(path)
    except JournalError as error:
        if around.stand_in is None or not _befell_us(error, path):
            raise
        why = str(error)
    say(f"Not recording: {why}")
    notifier.ready(f"Not recording: {why}")
    dispatcher = around.dispatcher(shop.contacts, clock, extras=None)
    cry = CryForHelp(shop, clock, around.stand_in(shop, clock, say), after_s=0.0)
    try:
        seen = tried = _marks(path)
        tried_s = clock.monotonic_s()
        while not around.wait(stop, TURN_S):
            notifier.alive()
            cry.sort_out(dispatcher.take_results())
            cry.failing(why, dispatcher)
            before, seen = seen, _marks(path)
            if seen is None or seen != before:
                continue  # somebody is at it: a missing file must not be made anew now
            if seen == tried and clock.monotonic_s() - tried_s < TRY_EVERY_S:
                continue
            tried, tried_s = seen, clock.monotonic_s()
            try:
                journal = around.open_journal(path)
            except JournalError as error:
                why = str(error)
            else:
                say("The journal can be used again.")
                cry.recovered(dispatcher)
                return journal
        return None
    finally:
        cry.stop()
        dispatcher.stop(grace_s=GRACE_S)


def _marks(path: Path) -> tuple[int, int, int, bool] | None:
    """Return what changes when somebody has put it right; None: there is no file."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_ino, status.st_size, status.st_mtime_ns, is_read_only(path)


def _befell_us(error: JournalError, path: Path) -> bool:
    """Return whether an error is a machine's misfortune rather than somebody's slip."""
    if isinstance(error, NotAJournal) or not path.is_file():
        return False
    if isinstance(error, JournalBarred):
        return is_read_only(path)
    return isinstance(error, (JournalDamaged, JournalFull, JournalFailing))


def is_read_only(path: Path) -> bool:
    """Return whether a file is on a file system that takes no writing."""
    try:
        return bool(os.statvfs(path).f_flag & os.ST_RDONLY)
    except OSError:
        return False
