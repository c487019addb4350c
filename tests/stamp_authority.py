"""An authority of time stamps (RFC 3161) for tests: OpenSSL's own, behind HTTP on this machine.

The requests are answered by ``openssl ts -reply``, which is no work of ours, with a certificate for
time stamping (RFC 3161, 2.3) that a root of the test's has signed.
"""

import datetime as dt
import subprocess
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from types import TracebackType
from typing import Self

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

CONFIG = """
[tsa]
default_tsa = here
[here]
serial = {folder}/serial
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha512
ordering = yes
tsa_name = yes
ess_cert_id_alg = sha256
"""


class StampAuthority:
    """Answers between ``__enter__`` and ``__exit__``; ``root`` is what its clients believe.

    Args:
        folder: An empty folder for its keys.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        folder.mkdir()
        (folder / "ts.conf").write_text(CONFIG.format(folder=folder))
        (folder / "serial").write_text("01")
        self.root = folder / "root.pem"
        self._make_certificates()
        self.changes_answer = lambda answer: answer
        """What becomes of an answer on its way."""
        self.asked: list[bytes] = []
        authority = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                assert self.headers["Content-Type"] == "application/timestamp-query"
                said = authority.changes_answer(authority.answer(body))
                self.send_response(200)
                self.send_header("Content-Type", "application/timestamp-reply")
                self.send_header("Content-Length", str(len(said)))
                self.end_headers()
                self.wfile.write(said)

            def log_message(self, format: str, *args: object) -> None:  # noqa: A002
                """Say nothing."""

        self._server = HTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_port}/"
        self._thread = threading.Thread(target=self._server.serve_forever)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.shutdown()
        self._thread.join(20)
        self._server.server_close()

    def answer(self, query: bytes) -> bytes:
        """Stamp a query as OpenSSL does."""
        self.asked.append(query)
        asked, said = self._folder / "query.tsq", self._folder / "answer.tsr"
        asked.write_bytes(query)
        subprocess.run(
            [
                *("openssl", "ts", "-reply", "-queryfile", asked, "-out", said),
                *("-config", self._folder / "ts.conf", "-section", "here"),
                *("-signer", self._folder / "tsa.pem", "-inkey", self._folder / "tsa.key"),
            ],
            check=True,
            capture_output=True,
        )
        return said.read_bytes()

    def verifies(self, stamp: Path, text: str) -> bool:
        """Return whether OpenSSL takes a stamp for one of a text."""
        data = self._folder / "data.txt"
        data.write_text(text)
        done = subprocess.run(
            ["openssl", "ts", "-verify", "-data", data, "-in", stamp, "-CAfile", self.root],
            check=False,
            capture_output=True,
        )
        return done.returncode == 0

    def _make_certificates(self) -> None:
        root_key, key = (rsa.generate_private_key(65537, 2048) for _ in range(2))
        root_name = _name("stamps-root")
        root = _begin(root_name, root_name, root_key).add_extension(
            x509.BasicConstraints(ca=True, path_length=None), critical=True
        )
        self.root.write_bytes(
            root.sign(root_key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)
        )
        own = _begin(_name("stamps"), root_name, key).add_extension(
            x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING]), critical=True
        )
        (self._folder / "tsa.pem").write_bytes(
            own.sign(root_key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)
        )
        (self._folder / "tsa.key").write_bytes(
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        )


def _name(words: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, words)])


def _begin(
    subject: x509.Name, issuer: x509.Name, key: rsa.RSAPrivateKey
) -> x509.CertificateBuilder:
    now = dt.datetime.now(dt.UTC)  # noqa: TID251 - what OpenSSL compares with
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=10))
    )
