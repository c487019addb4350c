"""How many file handles the process may have: as many as it needs, where the system lets it."""

import resource
from typing import Final

WANTED_HANDLES: Final = 4096
"""Pages, journal, broker and a few dozen contacts take some 400 at the most; beyond that it costs
nothing (our choice). Service managers start with 1,024 and let a process raise it itself."""


def raise_handle_limit() -> int:
    """Raise the limit to what is wanted, or as far as may be; return what it is now."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft == resource.RLIM_INFINITY or soft >= WANTED_HANDLES:
        return soft
    wanted = WANTED_HANDLES if hard == resource.RLIM_INFINITY else min(WANTED_HANDLES, hard)
    try:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
    except (OSError, ValueError):
        return soft
    return wanted
