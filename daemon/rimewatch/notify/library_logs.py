"""Keep the libraries that carry messages from writing addresses into the service's log.

They log hosts, paths and whole addresses, and most tokens sit in the path. What a
failure was is told by the dispatcher instead, with the secrets taken out.
"""

import logging
from typing import Final

LOUD_LIBRARIES: Final = ("apprise", "urllib3", "requests", "requests_oauthlib", "oauthlib")
"""Loggers of Apprise and of what it sends with."""


def quiet_libraries() -> None:
    """Let nothing of these libraries reach the service's handlers. May be called again.

    Their warnings still reach handlers set on the loggers themselves: Apprise collects
    there what a failure was.
    """
    for name in LOUD_LIBRARIES:
        logger = logging.getLogger(name)
        logger.setLevel(logging.WARNING)
        logger.propagate = False
        if not logger.handlers:
            # Without any handler Python would print warnings to standard error.
            logger.addHandler(logging.NullHandler())
