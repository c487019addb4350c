"""Make an urgent message sound, where the service knows how.

The kind of a notification changes only its icon and colour; whether a phone sounds
through its silent mode is part of the address. A word that Apprise does not know is
sent as the default, without a word: so each adapted address is built and looked at
before it is used. Never changes what the shop has set itself; sends nothing.
"""

from typing import Any, Final
from urllib.parse import parse_qs, urlsplit

import apprise

from rimewatch.notify.addresses import build, parameters, with_parameter

SOUNDING: Final[dict[str, tuple[str, str]]] = {
    "bark": ("level", "critical"),
    "dapnet": ("priority", "emergency"),
    "gorush": ("priority", "high"),
    "gotify": ("priority", "high"),
    "join": ("priority", "emergency"),
    "lametric": ("priority", "critical"),
    "ntfy": ("priority", "max"),
    "pover": ("priority", "high"),
    "prowl": ("priority", "emergency"),
    "psafer": ("priority", "emergency"),
    "simplepush": ("priority", "high"),
    "smseagle": ("priority", "high"),
    "spush": ("priority", "high"),
}
"""Scheme (without the ``s`` of its encrypted form): the parameter and the word that sounds.

Source: ``template_args`` of each service in Apprise 2.3. Only services that Apprise can
build without further libraries stand here, since only those are tested. ``pover`` has a
further word, ``emergency``, which repeats by itself until somebody taps it; repeating is
the escalation's work here, so a shop that wants it sets it.
"""


def for_urgency(address: str, *, urgent: bool) -> str:
    """Return the address to send a message to.

    Args:
        address: An Apprise URL, references resolved. Secret.
        urgent: Whether the message may wake somebody.

    Returns:
        The address itself for what is not urgent, where the shop has set the parameter,
        and where the service has none or did not take it; else the address that sounds.
    """
    sounding = SOUNDING.get(_family(address)) if urgent else None
    if sounding is None or sounding[0] in parameters(address):
        return address
    adapted = with_parameter(address, *sounding)
    return adapted if _taken(address, adapted, sounding[0]) else address


def _family(address: str) -> str:
    """Return the scheme by which the table knows a service."""
    scheme, separator, _ = address.strip().partition("://")
    scheme = scheme.lower()
    if not separator or scheme in SOUNDING:
        return scheme if separator else ""
    return scheme.removesuffix("s")


def _taken(plain: str, adapted: str, parameter: str) -> bool:
    """Return whether a service understood the parameter as something else than its default."""
    before, after = build(plain), build(adapted)
    if before is None or after is None:
        return False
    return _understood(after, parameter) not in ("", _understood(before, parameter))


def _understood(carrier: apprise.Apprise, parameter: str) -> str:
    service: Any = carrier[0]
    query = urlsplit(str(service.url(privacy=True))).query
    return parse_qs(query).get(parameter, [""])[-1].lower()
