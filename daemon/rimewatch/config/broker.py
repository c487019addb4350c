"""The broker's address and credentials: what one key alone cannot tell.

Never shows a password: an address that holds one is shown by its scheme.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

from rimewatch.config.destinations import Fault, Secrets, is_reference
from rimewatch.config.problems import NOT_SHOWN, Problem, show
from rimewatch.config.tables import BrokerTable
from rimewatch.config.translate import Row

PORTS: Final = {"mqtt": 1883, "mqtts": 8883, "ws": 80, "wss": 443}
"""Registered with IANA for MQTT without and with TLS; for WebSockets RFC 6455, section 3."""

ENCRYPTED: Final = ("mqtts", "wss")
WEB_SOCKETS: Final = ("ws", "wss")

USUAL_PATH: Final = "/mqtt"
"""Where on a web server the broker is, unless an address says. Common practice, no source."""

FILE_KEYS: Final = ("ca_file", "cert_file", "key_file")


def full_address(url: str) -> str | None:
    """Return the address with its port, and its path for WebSockets; None if it is no broker's.

    >>> full_address("mqtts://broker.local"), full_address("http://broker.local")
    ('mqtts://broker.local:8883', None)
    >>> full_address("wss://broker.local")
    'wss://broker.local:443/mqtt'
    """
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return None
    host = parts.hostname
    path = parts.path.rstrip("/")
    plain = not (parts.query or parts.fragment or "@" in url)
    if parts.scheme not in PORTS or not host or not plain or port == 0 or url != url.strip():
        return None
    if parts.scheme in WEB_SOCKETS:
        path = path or USUAL_PATH
        if not path.isascii() or not path.isprintable() or " " in path:
            return None
    elif path:
        return None
    try:
        host.encode("idna")
    except UnicodeError:
        return None
    if any(character.isspace() for character in host):
        return None
    bracketed = f"[{host}]" if ":" in host else host
    return f"{parts.scheme}://{bracketed}:{port or PORTS[parts.scheme]}{path}"


def is_encrypted(url: str) -> bool:
    """Return whether what goes to an address can be read by nobody on the way.

    >>> is_encrypted("mqtts://broker.local"), is_encrypted("ws://broker.local/mqtt")
    (True, False)
    """
    return url.lower().startswith(tuple(f"{scheme}:" for scheme in ENCRYPTED))


def check_broker(row: Row[BrokerTable]) -> Iterator[Problem]:
    """Yield what is wrong with the broker's table as a whole."""
    table, place = row.table, row.place
    if table is None:
        return
    if row.right("url"):
        yield from _check_address(row, table)
    for key, other in (("cert_file", "key_file"), ("key_file", "cert_file")):
        if row.right(key, other) and getattr(table, key) and not getattr(table, other):
            yield place.problem(other, "missing", f"expected the path of the other half of {key}")
    if row.right("password", "username") and table.password and table.username is None:
        yield place.problem(
            "username", "missing", "expected the name of the user whose password it is"
        )
    if row.right("password") and table.password is not None and not is_reference(table.password):
        yield place.problem(
            "password",
            NOT_SHOWN,
            'expected "env:NAME" or "file:PATH" that leads to it, so that no copy of this '
            "file gives it away",
            "is written out",
        )


def _check_address(row: Row[BrokerTable], table: BrokerTable) -> Iterator[Problem]:
    place = row.place
    if "@" in table.url:
        yield place.problem(
            "url",
            show(table.url) if "://" in table.url else NOT_SHOWN,
            'expected mqtt://HOST or mqtts://HOST; write username = "…" and '
            'password = "env:NAME" beside it',
            "holds a user or a password",
        )
    elif full_address(table.url) is None:
        yield place.problem(
            "url",
            f'"{table.url}"' if _host_alone(table.url) else show(table.url),
            "expected mqtt://HOST:PORT or mqtts://HOST:PORT (by WebSocket ws://HOST:PORT/PATH or "
            'wss://HOST:PORT/PATH), such as "mqtt://127.0.0.1:1883"',
        )
    elif not is_encrypted(table.url):
        for key in FILE_KEYS:
            if row.right(key) and getattr(table, key) is not None:
                yield place.problem(
                    key,
                    show(getattr(table, key)),
                    'expected url = "mqtts://…" or "wss://…" with it, or no certificate',
                    "is set, yet the connection would not be encrypted",
                )


def resolve_password(
    row: Row[BrokerTable], secrets: Secrets | None, problems: list[Problem]
) -> str | None:
    """Return the broker's password, following its reference; None if there is none."""
    reference = row.table.password if row.table else None
    if reference is None or secrets is None or not is_reference(reference):
        return None
    found = secrets.resolve(reference)
    if isinstance(found, Fault):
        problems.append(row.place.problem("password", found.shown, found.expected, found.verdict))
        return None
    return found


def certificate(
    row: Row[BrokerTable], key: str, secrets: Secrets | None, problems: list[Problem]
) -> str | None:
    """Return a certificate's path, absolute where the file's folder is known; it must exist.

    Without ``secrets`` nothing is looked up: nobody is going to connect.
    """
    table = row.table
    name: str | None = getattr(table, key) if table else None
    if table is None or name is None or secrets is None:
        return name
    if not is_encrypted(full_address(table.url) or ""):
        return name  # refused already: a certificate without encryption
    file = Path(name) if secrets.folder is None else secrets.folder / name
    if not file.is_file():
        problems.append(
            row.place.problem(
                key,
                show(name),
                "expected the path of a PEM file (relative to the configuration file)",
                f"is {show(name)} and there is no such file",
            )
        )
    return str(file)


def _host_alone(url: str) -> bool:
    """Return whether an address holds no more than scheme, host and port: fit to be shown."""
    rest = url.partition("://")[2]
    return bool(rest) and not set(rest.rstrip("/")) & set("/?#@&=;") and len(url) < 60
