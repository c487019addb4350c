"""Certificates for one test: an authority, and what it signs."""

import datetime as dt
import ipaddress
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID


class Authority:
    """Signs certificates into a folder; valid from yesterday for ten days."""

    def __init__(self, folder: Path, name: str) -> None:
        self._folder = folder
        self._key = ec.generate_private_key(ec.SECP256R1())
        self._name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        usage = x509.KeyUsage(
            digital_signature=True,
            content_commitment=False,
            key_encipherment=False,
            data_encipherment=False,
            key_agreement=False,
            key_cert_sign=True,
            crl_sign=True,
            encipher_only=False,
            decipher_only=False,
        )
        made = self._begin(self._name, self._key).add_extension(
            x509.BasicConstraints(ca=True, path_length=0), critical=True
        )
        self._made = made.add_extension(usage, critical=True).sign(self._key, hashes.SHA256())
        self.file = folder / f"{name}.pem"
        self.file.write_bytes(self._made.public_bytes(serialization.Encoding.PEM))

    def sign(
        self, name: str, *, is_over: bool = False, host: str = "127.0.0.1"
    ) -> tuple[Path, Path]:
        """Return certificate and key of somebody at an address, good now or until an hour ago."""
        key = ec.generate_private_key(ec.SECP256R1())
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        places = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(host))])
        uses = x509.ExtendedKeyUsage(
            [ExtendedKeyUsageOID.SERVER_AUTH, ExtendedKeyUsageOID.CLIENT_AUTH]
        )
        issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key())
        made = (
            self._begin(subject, key, good_h=-1 if is_over else 24)
            .add_extension(places, critical=False)
            .add_extension(uses, critical=False)
            .add_extension(issuer, critical=False)
            .sign(self._key, hashes.SHA256())
        )
        certificate, secret = self._folder / f"{name}.crt", self._folder / f"{name}.key"
        certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
        secret.write_bytes(
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        )
        return certificate, secret

    def _begin(
        self, subject: x509.Name, key: ec.EllipticCurvePrivateKey, good_h: float = 24
    ) -> x509.CertificateBuilder:
        now = dt.datetime.now(dt.UTC)  # noqa: TID251 - what a broker compares with
        return (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(self._name)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - dt.timedelta(days=1))
            .not_valid_after(now + dt.timedelta(hours=good_h))
            .add_extension(
                x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False
            )
        )
