"""Keeps the settings of a running service for its pages: the file, the changes, and their use.

A change from a page is checked as a whole, put into the file, and taken into use by the service at
once; the journal has what was before. Where the service cannot use it, the file is as it was. An
edit that somebody made in the file beside it is put together with it, or asked about.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

from rimewatch.clock import Clock
from rimewatch.config.changing import (
    Accepted,
    Proposed,
    Refused,
    Tables,
    Way,
    check_change,
    with_secrets,
    without_secrets,
)
from rimewatch.config.editing import Merged, NotEditable, edited, merged
from rimewatch.config.held import Held, NotWritten, look, read_only, write
from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader
from rimewatch.service.settings_made import last_number, latest_made, tables_around
from rimewatch.web.settings_keeper import Asked, Done, InUse, Made, NotDone

BUSY_S: Final = 5.0

Use = Callable[[str], str | None]
"""Has the service read the file and use it, for somebody: "" when it does, else why it does not;
None: not yet, within some seconds."""


class FileKeeper:
    """Keeps the settings that stand in a file.

    Args:
        path: The file.
        environ: Where ``env:NAME`` is looked up.
        journal_path: Where changes are noted.
        clock: Says when they were made.
        use: Has the service use what the file says.
        sends: Whether references to secrets are followed; who types a command may not have them.
    """

    def __init__(
        self,
        path: Path,
        environ: Mapping[str, str],
        journal_path: Path,
        clock: Clock,
        use: Use,
        *,
        sends: bool = True,
    ) -> None:
        self._path = path
        self._environ = environ
        self._journal_path = journal_path
        self._clock = clock
        self._use = use
        self._sends = sends
        self._lock = threading.Lock()
        self._tables: Tables = {}
        self.taken()

    def taken(self) -> None:
        """Note that the service uses what the file says now."""
        try:
            self._tables = look(self._path).tables()
        except (OSError, ValueError):
            return  # it was right a moment ago, when the service read it: what was known stays

    # --- what holds -----------------------------------------------------------------------

    def in_use(self) -> InUse:
        """Return what holds now, and what is otherwise in the file."""
        try:
            found = look(self._path).tables()
            trouble = read_only(self._path)
        except (OSError, ValueError) as error:
            said = f"The file {self._path} is wrong as it stands: {error}. Put it right first."
            return InUse(tables=self._tables, trouble=said)
        if trouble:
            trouble = (
                f"The settings cannot be written: {trouble}. Whoever keeps the machine can allow "
                "it, or change the file."
            )
        return InUse(tables=self._tables, trouble=trouble, beside=self._beside(found))

    def _beside(self, found: Tables) -> str:
        if found == self._tables:
            return ""
        answer = self._checked(found, self._tables, "")
        if isinstance(answer, Refused):
            return (
                "The file was changed by hand, and is wrong as it stands. The watch goes on with "
                f"what it read before. {answer.why}."
            )
        keys = [change.key for change in answer.changes]
        return (
            f"The file was changed by hand, and that is not in use yet: {', '.join(keys[:5])}"
            f"{' and more' if len(keys) > 5 else ''}. The next change from a page takes it along."
        )

    def history(self, most: int) -> Sequence[Made]:
        """Return the latest changes that were made, the last one first."""
        try:
            with JournalReader.open(self._journal_path, busy_s=BUSY_S) as journal:
                return latest_made(journal, most)
        except JournalError:
            return ()

    # --- changes --------------------------------------------------------------------------

    def change(self, asked: Asked) -> Done | NotDone:
        """Make a change, and have the service use it."""
        with self._lock:
            try:
                held = look(self._path)
                theirs = held.tables()
            except (OSError, ValueError) as error:
                return NotDone(trouble=f"The file {self._path} cannot be read: {error}.")
            both = merged(asked.before, theirs, asked.after)
            if both.clashes and asked.file_seen != held.digest:
                return NotDone(clashes=both.clashes, file=held.digest)
            return self._made(held, theirs, both.tables, asked.who)

    def undo(self, number: int, who: str) -> Done | NotDone:
        """Put back what was before a change; what was changed since stays."""
        with self._lock:
            try:
                with JournalReader.open(self._journal_path, busy_s=BUSY_S) as journal:
                    around = tables_around(journal, number)
                held = look(self._path)
                now = held.tables()
            except (JournalError, OSError, ValueError) as error:
                return NotDone(trouble=f"What was before cannot be read: {error}.")
            if around is None:
                return NotDone(trouble="There is no such change.")
            before, after = around
            both: Merged = merged(after, without_secrets(now), before)
            if both.clashes:
                return NotDone(clashes=both.clashes)
            back = with_secrets(both.tables, now)
            if back is None:
                return NotDone(
                    trouble="An address or a password of then is not kept; type it in anew."
                )
            return self._made(held, now, back, who)

    def _made(self, held: Held, before: Tables, after: Tables, who: str) -> Done | NotDone:
        answer = self._checked(after, before, who)
        if isinstance(answer, Refused):
            return NotDone(findings=answer.findings)
        try:
            written = write(held, edited(held.text, after))
        except (NotWritten, NotEditable) as error:
            return NotDone(trouble=f"Nothing was changed: {error}.")
        why = self._use(who)
        if why:
            return self._back(written, held, why)
        # What held before is what was in use: an edit by hand comes into use with this change.
        return self._noted(answer, before, after, is_in_use=why is not None)

    def _back(self, written: Held, held: Held, why: str) -> NotDone:
        """Put the file back as it was before a change that cannot be used."""
        try:
            write(written, held.text)
        except NotWritten as error:
            return NotDone(trouble=f"{why} The file could not be put back: {error}.")
        return NotDone(trouble=why)

    def _noted(self, answer: Accepted, before: Tables, after: Tables, *, is_in_use: bool) -> Done:
        """Return a change as the service has noted it when it began to use it."""
        if not answer.changes and without_secrets(before) == without_secrets(after):
            return Done(number=0, is_in_use=is_in_use)
        try:
            with JournalReader.open(self._journal_path, busy_s=BUSY_S) as journal:
                number = last_number(journal)
        except JournalError:
            return Done(number=0, is_in_use=is_in_use)  # it holds; the writer notes what differs
        return Done(number=number, is_in_use=is_in_use)

    def _checked(self, after: Tables, before: Tables, who: str) -> Accepted | Refused:
        return check_change(
            Proposed(
                at_ms=self._clock.now_ms(),
                way=Way.PAGE,
                tables_before=before,
                tables_after=after,
                who=who,
            ),
            self._environ,
            source=self._path.name,
            folder=self._path.parent,
            sends=self._sends,
        )
