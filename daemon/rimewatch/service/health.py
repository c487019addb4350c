"""Whether the service is at work, for a container's health check: exit code 0 or 1.

    python -m rimewatch.service.health /var/lib/rimewatch/rimewatch.db

Looks only at how far time was followed, which the writer notes at least once a minute;
that fish is cold, or a probe speaks, is for alarms to tell. Reads only.
"""

import json
import sys
from pathlib import Path
from typing import Final

from rimewatch.clock import SystemClock
from rimewatch.journal.checkpoints import EVALUATOR_STATE
from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader
from rimewatch.vocabulary import MS_PER_S

LONGEST_S: Final = 180.0
"""Three of the writer's minutes (our choice)."""


def behind_s(journal: Path, now_ms: int) -> float:
    """Return how long ago the service last followed time, in seconds.

    Raises:
        JournalError: If the journal cannot be read, or no service ever ran with it.
    """
    with JournalReader.open(journal) as reader:
        text = reader.load_state(EVALUATOR_STATE)
    if text is None:
        raise JournalError(f"{journal}: no service has run with it yet", path=journal)
    followed_ms: int = json.loads(text)["seen_until_ms"]
    return (now_ms - followed_ms) / MS_PER_S


def main(arguments: list[str]) -> int:
    """Say how it stands; return 0 if the service is at work."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m rimewatch.service.health JOURNAL\n")
        return 2
    try:
        late_s = behind_s(Path(arguments[0]), SystemClock().now_ms())
    except JournalError as error:
        sys.stderr.write(f"{error}\n")
        return 1
    sys.stdout.write(f"time was followed up to {late_s:.0f} s ago\n")
    return 0 if late_s <= LONGEST_S else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
