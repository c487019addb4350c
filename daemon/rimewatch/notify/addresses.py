"""Contacts' addresses: general parameters added to them, services built from them.

An address is a secret. Nothing of it but its scheme leaves this package, and nothing
here logs. Builds objects; never sends anything.
"""

import warnings
from typing import Any, Final
from urllib.parse import quote

import apprise

from rimewatch.config.destinations import scheme_of

__all__ = ["build", "parameters", "scheme", "with_parameter"]

_ASSET_OPTIONS: Final[dict[str, Any]] = {
    "app_id": "rimewatch",
    "app_desc": "Watches the cold that raw fish depends on",
    # One after the other in the thread that asks: with a time limit of its own, or in its
    # asynchronous mode, Apprise hands every send of the whole process to one small shared pool,
    # and a few services that hang would hold up everybody else's messages. Limits are ours.
    "async_mode": False,
    "service_timeout": 0,
    "secure_logging": True,
    # A POST that is answered with "found elsewhere" would become a GET without the words there,
    # and count as sent. Delivered is what a receiver took.
    "http_redirects": False,
}


def scheme(address: str) -> str:
    """Return an address's scheme without its quotes, such as ``json://…``; nothing else of it."""
    return scheme_of(address).strip('"')


def parameters(address: str) -> frozenset[str]:
    """Return the names of the parameters an address has, in lower case as Apprise takes them."""
    _, _, query = address.partition("?")
    pairs = query.replace(";", "&").split("&")
    return frozenset(pair.partition("=")[0].strip().lower() for pair in pairs if pair)


def with_parameter(address: str, name: str, value: str) -> str:
    """Return an address with a parameter added; one the shop has set stays as it is.

    >>> with_parameter("json://127.0.0.1/a?rto=3", "cto", "5")
    'json://127.0.0.1/a?rto=3&cto=5'
    >>> with_parameter("json://127.0.0.1/a?rto=3", "rto", "5")
    'json://127.0.0.1/a?rto=3'
    """
    if name.lower() in parameters(address):
        return address
    joint = "&" if "?" in address else "?"
    return f"{address.strip()}{joint}{quote(name)}={quote(value)}"


def build(address: str) -> apprise.Apprise | None:
    """Return an ``apprise.Apprise`` with the one service of an address, or None if it is unusable.

    The object is meant for one thread. Refusals are not logged.
    """
    asset: Any = apprise.AppriseAsset(**_ASSET_OPTIONS)
    with warnings.catch_warnings():
        # Services import their own libraries the first time; those warn about themselves.
        warnings.simplefilter("ignore", DeprecationWarning)
        service: Any = apprise.Apprise.instantiate(address, asset=asset, suppress_exceptions=True)
    if service is None or not service.enabled:
        return None
    service.redirects = False  # whatever the address says
    carrier: Any = apprise.Apprise(asset=asset)
    return carrier if carrier.add(service) else None
