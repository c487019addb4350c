"""How fast the mirror goes, and how long it waits after a failure. Pure."""

import zlib
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """The mirror's own rhythm. Every number is our choice (no source)."""

    batch: int = 5000
    """Points in a request; what InfluxDB's manual recommends as well (from memory)."""
    hours_at_once: int = 500
    """Changed hours read in one go from the journal."""
    follow_s: float = 5.0
    """With nothing left to send, the journal is looked at this often."""
    books_s: float = 600.0
    """How often excursions, alarms and lots are brought up to date."""
    now_s: float = 60.0
    """How often it is said how each unit stands."""
    first_wait_s: float = 1.0
    """Wait after the first failure; doubled after each further one."""
    longest_wait_s: float = 60.0
    """A database that is back after days is noticed within this."""

    def wait_s(self, failures: int, key: str) -> float:
        """Return how long to wait after a number of failures in a row.

        Args:
            failures: At least 1.
            key: The shop's tag: stretches waits a little, so that a street of shops does
                not come back in the same second.
        """
        steps = min(failures - 1, 16)
        wait_s = min(self.first_wait_s * 2.0**steps, self.longest_wait_s)
        spread = zlib.crc32(f"{failures}/{key}".encode()) / 2**32
        return wait_s * (0.8 + 0.2 * spread)
