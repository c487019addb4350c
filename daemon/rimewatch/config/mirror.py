"""The mirror's table: what one key alone cannot tell, and the values the service works with.

Never shows a token: it is kept where a reference leads. Connects to nothing.
"""

from collections.abc import Iterator
from pathlib import Path

from rimewatch.config.destinations import Fault, Secrets, is_reference
from rimewatch.config.problems import NOT_SHOWN, Problem, show
from rimewatch.config.table import taken
from rimewatch.config.tables import MirrorTable, ShopTable
from rimewatch.config.translate import Row
from rimewatch.config.web_address import is_web_address
from rimewatch.shop import MirrorTo


def check_mirror(row: Row[MirrorTable]) -> Iterator[Problem]:
    """Yield what is wrong with the mirror's table as a whole."""
    table, place = row.table, row.place
    if table is None:
        return
    if row.right("url") and not is_web_address(table.url):
        yield place.problem(
            "url",
            show(table.url) if "://" in table.url else NOT_SHOWN,
            "expected http://HOST:PORT or https://HOST, without user and password, such as "
            '"http://127.0.0.1:8086"',
            "is no address that points can be posted to",
        )
    if row.right("token") and table.token is not None and not is_reference(table.token):
        yield place.problem(
            "token",
            NOT_SHOWN,
            'expected "env:NAME" or "file:PATH" that leads to it, so that no copy of this '
            "file gives it away",
            "is written out",
        )
    if row.right("ca_file", "url") and table.ca_file and table.url.lower().startswith("http:"):
        yield place.problem(
            "ca_file",
            show(table.ca_file),
            'expected url = "https://…" with it, or no certificate',
            "is set, yet the connection would not be encrypted",
        )


def mirror_to(
    row: Row[MirrorTable] | None,
    shop: ShopTable | None,
    secrets: Secrets | None,
    problems: list[Problem],
) -> MirrorTo | None:
    """Return where the journal is mirrored to; None: nowhere.

    Args:
        row: The table, as read.
        shop: The shop's own table, whose name is the tag unless another is given.
        secrets: Where references lead; None: they are not followed, and there is no token.
        problems: Grows where the token or a certificate cannot be found.
    """
    table = row.table if row else None
    if row is None or table is None or shop is None:
        return None
    token = None
    if table.token is not None and secrets is not None and is_reference(table.token):
        found = secrets.resolve(table.token)
        if isinstance(found, Fault):
            problems.append(row.place.problem("token", found.shown, found.expected, found.verdict))
        else:
            token = found
    return taken(
        MirrorTo,
        table,
        url=table.url.rstrip("/"),
        shop=table.shop or shop.name,
        token=token,
        ca_file=_certificate(row, table, secrets, problems),
    )


def _certificate(
    row: Row[MirrorTable], table: MirrorTable, secrets: Secrets | None, problems: list[Problem]
) -> str | None:
    if table.ca_file is None or secrets is None or not table.url.lower().startswith("https:"):
        return table.ca_file  # nobody is going to connect, or it is refused already
    file = Path(table.ca_file) if secrets.folder is None else secrets.folder / table.ca_file
    if not file.is_file():
        problems.append(
            row.place.problem(
                "ca_file",
                show(table.ca_file),
                "expected the path of a PEM file (relative to the configuration file)",
                f"is {show(table.ca_file)} and there is no such file",
            )
        )
    return str(file)
