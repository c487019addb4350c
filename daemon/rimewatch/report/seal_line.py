"""The line that carries a day's seal out of the house, in a mail or on paper. Pure.

It is put to a summary when that is sent, shown or printed, and is no part of what is kept:
the summary is itself sealed with its day.
"""

from datetime import date
from html import escape
from typing import Final

from rimewatch.report import wording

MARK: Final = '<span class="seal"></span>'
"""Where in a summary's HTML the line goes."""


def seal_line(day: date, groups: str) -> str:
    """Return the line for a day's seal.

    Args:
        day: The local day that is sealed.
        groups: The seal's digits in groups, all or the first ones.

    >>> seal_line(date(2026, 3, 1), "3f1a 9c02 77de 41b0")
    'Seal of Sun 1 March 2026: 3f1a 9c02 77de 41b0.'
    """
    name = wording.WEEKDAYS[day.weekday()]
    return f"Seal of {name} {day.day} {wording.MONTHS[day.month - 1]} {day.year}: {groups}."


def text_with(text: str, line: str) -> str:
    """Return a summary's text with the line at its end; no line, no change."""
    return f"{text}{line}\n" if line else text


def html_with(html: str, line: str) -> str:
    """Return a summary's HTML with the line in its foot; no line, no change."""
    return html.replace(MARK, f'<br><span class="seal">{escape(line)}</span>', 1) if line else html
