"""How commands say several things: a service's events, and findings of which one is the error.

Events are wrapped for whoever watches a terminal. A journal, a log or a pipe is read by programs:
there nothing is wrapped.
"""

import os
import sys
import textwrap
from collections.abc import Sequence
from typing import Final, TextIO

import click

INDENT: Final = "  "
"""Before the further lines of an event, so that the eye finds where the next one begins."""

LEAST_COLUMNS: Final = 20
"""A terminal that says it is narrower does not know (our choice)."""


def tell(text: str) -> None:
    """Say an event on standard error."""
    columns = columns_of(sys.stderr)
    click.echo(text if columns is None else fitted(text, columns), err=True)
    sys.stderr.flush()


def first_of(findings: Sequence[object]) -> str:
    """Print all findings but the first, and return that one with how many more there are."""
    for finding in findings[1:]:
        click.echo(f"  {finding}", err=True)
    more = f", and {len(findings) - 1} more" if len(findings) > 1 else ""
    return f"{findings[0]}{more}"


def columns_of(stream: TextIO) -> int | None:
    """Return how wide the terminal behind a stream is now; None: no terminal, or it says not."""
    try:
        columns = os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError):
        return None
    return columns if columns >= LEAST_COLUMNS else None


def fitted(text: str, columns: int) -> str:
    """Return an event in lines of a terminal's width; words are never cut: they may be links.

    >>> print(fitted("Not recording: the disk is full.", 20))
    Not recording: the
      disk is full.
    """
    return "\n".join(
        textwrap.fill(
            line,
            columns,
            subsequent_indent=INDENT,
            break_long_words=False,
            break_on_hyphens=False,
        )
        for line in text.splitlines()
    )
