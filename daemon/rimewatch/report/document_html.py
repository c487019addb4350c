"""A document as one HTML file that needs nothing else. Layout only.

Tables and inline styles, because mail programs know little else; no scripts, no links, nothing
fetched; charts are PNG pictures inside the file, and each says in words what it shows.
"""

import base64
from typing import Final

from markupsafe import Markup

from rimewatch.report import inks
from rimewatch.report.document import Document
from rimewatch.report.templating import template

_PLACE: Final = Markup("<chart>")
"""Where a picture's address belongs. No name and no note can hold it: theirs are escaped."""


def document_html(document: Document) -> str:
    """Return a document as HTML; a chart that is still to be drawn is left out."""
    return _rendered(document, pending=None)


def html_pieces(document: Document) -> tuple[str, ...]:
    """Return the same in pieces; between each two belongs the address of a chart to be drawn."""
    return tuple(_rendered(document, pending=_PLACE).split(_PLACE))


def _rendered(document: Document, *, pending: Markup | None) -> str:
    def address(png: bytes | None) -> str | None:
        return pending if png is None else picture_address(png)

    return template("document.html").render(document=document, address=address, inks=inks) + "\n"


def picture_address(png: bytes) -> str:
    """Return a picture as an address that needs no fetching (RFC 2397)."""
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"
