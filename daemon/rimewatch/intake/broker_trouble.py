"""What is wrong with the connection to the broker, in one sentence with its cure.

Pure: takes errors and reason codes, gives text. Never shows a user name or password.

References:
    [1] OASIS MQTT Version 5.0 (2019), section 2.4: reason codes. The client library
        gives MQTT 3.1.1 return codes as the like reason codes.
"""

import socket
import ssl
from typing import Final

from paho.mqtt.client import WebsocketConnectionError

from rimewatch.config.broker import is_encrypted

UNSUPPORTED_PROTOCOL: Final = 132  # [1]
TAKEN_OVER: Final = 142  # [1]

_REFUSALS: Final = {
    UNSUPPORTED_PROTOCOL: "does not speak this version of MQTT; another version is tried",
    133: "does not accept the client id: check broker.client_id",
    134: "refused the user name or password: check broker.username and broker.password",
    135: "refused the user name or password, or may not let this user in: "
    "check broker.username, broker.password and the broker's list of users",
    136: "is not available at the moment; trying again",
    137: "is too busy at the moment; trying again",
    138: "has banned this client: ask whoever runs the broker",
    140: "refused the way of logging in: check the broker's settings",
    149: "found our packet too large: check the broker's limits",
    151: "says a quota is used up: check the broker's limits",
    159: "says we connect too often; trying again more slowly",
}
"""By reason code, source [1]."""

_ENDS: Final = {
    139: "the broker is shutting down",
    141: "the broker heard nothing from us for too long",
    TAKEN_OVER: "another client came with the same client id: is a second instance running?",
    147: "we were sent more messages than agreed",
    149: "a packet was too large",
    152: "the broker's administrator ended it",
}
"""By reason code, source [1]."""

_WORDS: Final = {
    "broker.client_id": "the client id",
    "broker.username and broker.password": "both",
    "broker.username, broker.password": "the user, the password",
    "broker.ca_file": "the file of the authority",
    "broker.cert_file and broker.key_file": "our own certificate and its key",
    "broker.cert_file": "our own certificate",
    "broker.password": "the password",
    "broker.username": "the user",
    "broker.url": "the broker's address",
}
"""What keys of the configuration are called where there is none yet."""

_NONSENSE: Final = (129, 130)  # malformed packet, protocol error: [1]
_CLOSED: Final = "closed the connection without an answer"

SECOND_INSTANCE: Final = (
    "It ends again and again: is a second instance running with the same client id?"
)


def describe_refusal(code: int, name: str, address: str) -> str:
    """Say why a broker refused us.

    Args:
        code: Reason code of the broker's answer, as in MQTT 5.
        name: The code's name, for codes this table lacks.
        address: The broker's address, without user and password.
    """
    what = _REFUSALS.get(code, f"refused the connection ({name}): check the broker's log")
    return f"The broker at {address} {what}."


def describe_end(code: int, name: str, address: str) -> str:
    """Say why a connection ended, from the reason code of its end."""
    return f"The connection to the broker at {address} ended: {_ENDS.get(code, name.lower())}."


def describe_failure(error: BaseException | None, address: str) -> str:
    """Say why no connection came about, from the error that the attempt raised."""
    match error:
        case ssl.SSLCertVerificationError():
            why = (
                f"showed a certificate that is not trusted ({error.verify_message}): check "
                "broker.ca_file, the host name in broker.url and this machine's date"
            )
        case ssl.SSLError():
            reason = getattr(error, "reason", None) or "no reason given"
            why = (
                f"could not agree on TLS ({reason}): check that the "
                "port speaks TLS, and broker.cert_file and broker.key_file if it asks for them"
            )
        case socket.gaierror():
            why = "has a host name that cannot be found: check broker.url and the network"
        case WebsocketConnectionError():
            why = (
                "does not answer as WebSocket wants it: check the path in broker.url, and write "
                "mqtt:// or mqtts:// in it if the port is MQTT's own"
            )
        case ConnectionRefusedError():
            why = "does not listen there: check that it runs, and the port in broker.url"
        case TimeoutError():
            why = "does not answer: check broker.url, the network and any firewall"
        case OSError():
            said = error.strerror or type(error).__name__
            why = f"cannot be reached ({said}): check broker.url and the network"
        case _:
            why = "cannot be reached: check broker.url and the network"
    return f"The broker at {address} {why}."


def describe_silence(code: int, address: str) -> str:
    """Say that a broker closed the connection in place of an answer, or answered nonsense."""
    did = "answered with something that is not MQTT" if code in _NONSENSE else _CLOSED
    # With TLS 1.3 a client that lacks the certificate it is asked for may learn of it only so,
    # since its own handshake is done by then (RFC 8446, section 4.4.2.4, from memory).
    cure = (
        "if it asks for a client's certificate, broker.cert_file and broker.key_file"
        if is_encrypted(address)
        else f"{'wss' if address.startswith('ws') else 'mqtts'}:// in broker.url if it speaks TLS"
    )
    return f"The broker at {address} {did}: check that the port is MQTT's, and {cure}."


def describe_hush(address: str) -> str:
    """Say that a broker took the connection and said nothing."""
    return (
        f"The broker at {address} took the connection and does not answer: check that the port "
        "is MQTT's, that it speaks TLS if broker.url says mqtts://, and the broker's log."
    )


def before_a_file(text: str) -> str:
    """Return a sentence of these, or of the settings, for people who have no configuration yet.

    >>> before_a_file("check broker.url and the network")
    "Check the broker's address and the network"
    """
    for key, words in _WORDS.items():
        text = text.replace(key, words)
    return text[:1].upper() + text[1:]
