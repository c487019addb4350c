"""Where the broker is and how to get in: the configuration checked before any connection.

A flaw found here is the configuration's, and said at once; a flaw found later is the
network's or the broker's, and is tried again. Never shows a password.
"""

import ssl
from dataclasses import dataclass, field
from typing import Literal
from urllib.parse import SplitResult, unquote, urlsplit

from paho.mqtt.client import Client

from rimewatch.config.broker import ENCRYPTED, PORTS, USUAL_PATH, WEB_SOCKETS
from rimewatch.shop import Broker


class BrokerSettingsError(ValueError):
    """The broker's configuration cannot be used. Fix the configuration."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Endpoint:
    """A broker's address and credentials, checked."""

    host: str
    port: int
    address: str
    """For messages: scheme, host, port and path, no user, no password."""
    path: str
    """Where on a web server the broker is; empty: it is no web server."""
    username: str | None
    password: str | None = field(repr=False)
    tls: ssl.SSLContext | None = field(repr=False)

    @property
    def transport(self) -> Literal["tcp", "websockets"]:
        """How the client library calls what carries the connection."""
        return "websockets" if self.path else "tcp"

    def prepare(self, client: Client) -> None:
        """Give a client of that transport, not connected yet, what it needs to get in."""
        if self.username is not None:
            client.username_pw_set(self.username, self.password)
        if self.tls is not None:
            client.tls_set_context(self.tls)
        if self.path:
            client.ws_set_options(self.path)


def endpoint(broker: Broker) -> Endpoint:
    """Return where a broker is, from its configuration.

    Raises:
        BrokerSettingsError: If the URL is none of mqtt://, mqtts://, ws:// or wss://, names no
            host, or a certificate or key file cannot be read.
    """
    url = urlsplit(broker.url)
    if url.scheme not in PORTS:
        msg = (
            f'broker.url begins with "{url.scheme}:"; expected mqtt:// or, for TLS, mqtts:// '
            "(by WebSocket ws:// or wss://)"
        )
        raise BrokerSettingsError(msg)
    host, port = _host_and_port(url)
    shown_host = f"[{host}]" if ":" in host else host
    path = (url.path.rstrip("/") or USUAL_PATH) if url.scheme in WEB_SOCKETS else ""
    username = broker.username or (unquote(url.username) if url.username else None)
    password = broker.password or (unquote(url.password) if url.password else None)
    if password is not None and username is None:
        raise BrokerSettingsError("broker.password is set without broker.username; give both")
    return Endpoint(
        host=host,
        port=port,
        address=f"{url.scheme}://{shown_host}:{port}{path}",
        path=path,
        username=username,
        password=password,
        tls=tls_context(broker) if url.scheme in ENCRYPTED else None,
    )


def _host_and_port(url: SplitResult) -> tuple[str, int]:
    try:
        host, port = url.hostname or "", url.port or PORTS[url.scheme]
        host.encode("idna")  # a host name that cannot be one would end the network thread
    except ValueError:
        host, port = "", 0
    if not host:
        msg = "broker.url names no usable host and port; expected such as mqtt://127.0.0.1:1883"
        raise BrokerSettingsError(msg)
    return host, port


def tls_context(broker: Broker) -> ssl.SSLContext:
    """Return how to speak TLS with a broker, from the files as they are now.

    Raises:
        BrokerSettingsError: If a certificate or key file cannot be read.
    """
    if (broker.cert_file is None) != (broker.key_file is None):
        msg = "broker.cert_file and broker.key_file belong together; give both or neither"
        raise BrokerSettingsError(msg)
    try:
        context = ssl.create_default_context(cafile=broker.ca_file)
    except OSError as err:  # an SSLError is one as well
        raise BrokerSettingsError(_unreadable("ca_file", broker.ca_file, err)) from None
    if broker.cert_file is not None:
        try:
            context.load_cert_chain(broker.cert_file, broker.key_file)
        except OSError as err:
            names = f"{broker.cert_file} with {broker.key_file}"
            raise BrokerSettingsError(_unreadable("cert_file", names, err)) from None
    return context


def _unreadable(key: str, value: str | None, err: OSError) -> str:
    why = "is no PEM file of that kind" if isinstance(err, ssl.SSLError) else err.strerror
    return f"broker.{key} is {value}: {why}; expected a readable PEM file"
