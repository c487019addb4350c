"""The small notations of the configuration file: local times, lengths, defrosts, references.

Pure: text in, values out. Every parser raises ``ValueError`` and says no more
than that: the key's own description says what would be right.
"""

import re
from datetime import date, datetime, time
from typing import Final

from rimewatch.shop import DefrostWindow

LOCAL_TIME_PATTERN: Final = r"^([01][0-9]|2[0-3]):[0-5][0-9]$"
LOCAL_DATE_PATTERN: Final = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
DEFROST_PATTERN: Final = (
    r"^([01][0-9]|2[0-3]):[0-5][0-9]/(?=[0-9])([0-9]{1,4}h)?([0-9]{1,4}m)?([0-9]{1,5}s)?$"
)
LONGEST_DEFROST_S: Final = 12 * 3600
"""A longer "defrost" would be a licence to be warm; common practice is well under 1 h."""

REFERENCE_NAME: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")


def local_time(value: object) -> time:
    """Return the local time written as ``HH:MM``, or TOML's own ``06:30:00``.

    Raises:
        ValueError: If it is neither.

    >>> local_time("06:30")
    datetime.time(6, 30)
    """
    if isinstance(value, time):
        return value
    if isinstance(value, str) and re.fullmatch(LOCAL_TIME_PATTERN, value):
        return time(int(value[:2]), int(value[3:5]))
    raise ValueError("not a local time")


def local_date(value: object) -> date:
    """Return the local date written as ``YYYY-MM-DD``, or TOML's own.

    Raises:
        ValueError: If it is neither.

    >>> local_date("2026-12-25")
    datetime.date(2026, 12, 25)
    """
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and re.fullmatch(LOCAL_DATE_PATTERN, value):
        return date.fromisoformat(value)
    raise ValueError("not a local date")


def address_and_port(value: str) -> tuple[str, int] | None:
    """Return the host and port of ``HOST:PORT``, else None; an IPv6 address has brackets.

    >>> address_and_port("127.0.0.1:8080"), address_and_port("[::1]:8080"), address_and_port("x")
    (('127.0.0.1', 8080), ('::1', 8080), None)
    """
    match = re.fullmatch(r"(?:\[([0-9A-Fa-f:.]+)\]|([A-Za-z0-9.-]+)):([0-9]{1,5})", value)
    if match is None or not 0 < int(match[3]) < 65_536:
        return None
    return match[1] or match[2], int(match[3])


def defrost(value: object) -> DefrostWindow:
    """Return the window written as local start and length, such as ``02:00/1h30m``.

    Raises:
        ValueError: If it is not so written, or lasts no time or more than 12 hours.

    >>> defrost("02:00/25m").length_s
    1500.0
    """
    match = re.fullmatch(DEFROST_PATTERN, value) if isinstance(value, str) else None
    if match is None:
        raise ValueError("not a defrost window")
    hours, minutes, seconds = (int(part[:-1]) if part else 0 for part in match.groups()[1:])
    length_s = float(hours * 3600 + minutes * 60 + seconds)
    if not 0 < length_s <= LONGEST_DEFROST_S:
        raise ValueError("not a defrost's length")
    return DefrostWindow(start=local_time(match.string[:5]), length_s=length_s)


def environment_name(reference: str) -> str | None:
    """Return NAME of a well-formed ``env:NAME``, else None.

    >>> environment_name("env:RIMEWATCH_FIRST"), environment_name("json://host/")
    ('RIMEWATCH_FIRST', None)
    """
    scheme, _, name = reference.partition(":")
    return name if scheme == "env" and REFERENCE_NAME.fullmatch(name) else None


def file_name(reference: str) -> str | None:
    """Return PATH of a ``file:PATH``, else None; ``file://`` is an address, not a reference.

    >>> file_name("file:/run/secrets/broker")
    '/run/secrets/broker'
    """
    scheme, _, name = reference.partition(":")
    return name if scheme == "file" and name.strip() and not name.startswith("//") else None
