"""What the pages ask of whoever keeps the settings: what holds now, a change, the changes made.

The pages decide nothing of it: a change is checked, written and taken into use by the keeper, in
the one way there is for a file, a command and a page.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from rimewatch.config.changing import Finding, Tables
from rimewatch.config.editing import Clash
from rimewatch.evaluation.settings import Change


@dataclass(frozen=True, slots=True, kw_only=True)
class InUse:
    """What holds now. May hold secrets."""

    tables: Tables
    trouble: str = ""
    """Why nothing can be changed from a page, a sentence; empty: it can."""
    beside: str = ""
    """What the file has that is not in use, a sentence; empty: it has nothing such."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A change that somebody asks for on a page."""

    who: str
    before: Tables
    """What they have seen."""
    after: Tables
    file_seen: str = ""
    """What the file held when they were told of a clash and asked again: theirs counts then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A change that was made; ``number`` is the one it has in the history, 0: nothing changed."""

    number: int
    is_in_use: bool = True
    """Whether the service has it already; it takes it into use when it can."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotDone:
    """A change that was not made: nothing of it has happened."""

    findings: tuple[Finding, ...] = ()
    """What is wrong with it, beside its keys."""
    clashes: tuple[Clash, ...] = ()
    """What somebody else changed to something else meanwhile."""
    trouble: str = ""
    """Why it could not be written, a sentence."""
    file: str = ""
    """Of a clash: what the file held, to be asked again with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A change of settings that was made."""

    number: int
    at_ms: int
    who: str
    """Empty: nobody said."""
    way: str
    """Where it was made, such as ``page``."""
    changes: tuple[Change, ...]
    """What is different since, key by key; secrets are never named."""


class SettingsKeeper(Protocol):
    """Keeps the settings of a running service. Each call may wait for a disk; any thread may."""

    def in_use(self) -> InUse:
        """Return what holds now."""
        ...

    def change(self, asked: Asked) -> Done | NotDone:
        """Make a change, and have the service use it."""
        ...

    def undo(self, number: int, who: str) -> Done | NotDone:
        """Put back what was before a change; what was changed since stays."""
        ...

    def history(self, most: int) -> Sequence[Made]:
        """Return the latest changes, the last one first."""
        ...
