"""Has somebody outside the house say when a day's seal was there: a time stamp by RFC 3161.

Whoever owns the machine owns every key on it, and can make the whole chain of seals anew. What an
authority outside has signed, it cannot: a stamp says that this very seal was there at that time.
The seal's text is what is stamped, so that anybody can check it with other tools as well. Needs the
libraries of the extra ``stamp``.

References:
    [1] RFC 3161, Internet X.509 PKI Time-Stamp Protocol: 2.4 (request and answer), 3.4 (by HTTP).
    [2] RFC 5816, ESSCertIDv2 in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import urllib3
from cryptography.x509 import Certificate, load_pem_x509_certificates
from rfc3161_client import (
    HashAlgorithm,
    PKIStatus,
    TimestampRequestBuilder,
    VerificationError,
    VerifierBuilder,
    decode_timestamp_response,
)

from rimewatch.journal.backup_beside import STAMP_FOLDER, STAMP_SUFFIX

QUERY: Final = "application/timestamp-query"
REPLY: Final = "application/timestamp-reply"
"""Source: [1], 3.4."""
WITHIN_S: Final = 30.0
LARGEST_BYTES: Final = 100_000
"""A stamp with its certificates has some thousand (our choice)."""


class StampError(Exception):
    """There is no stamp, or it is not of this seal or this authority; the text says which."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """What an authority says."""

    at_ms: int
    """When the seal was there at the latest, by the authority's clock; milliseconds UTC."""
    answer: bytes
    """The authority's whole answer, DER, as it is kept and as other tools read it."""


def folder_of(journal: Path) -> Path:
    """Return where a journal's stamps are kept."""
    return journal.parent / STAMP_FOLDER


def place_of(journal: Path, day: date) -> Path:
    """Return the file of a day's stamp."""
    return folder_of(journal) / f"{day.isoformat()}{STAMP_SUFFIX}"


def certificates_in(path: Path) -> list[Certificate]:
    """Return the certificates of the authorities that are believed.

    Args:
        path: One or more in PEM.

    Raises:
        StampError: If there is none, or the file cannot be read.
    """
    try:
        return load_pem_x509_certificates(path.read_bytes())
    except (OSError, ValueError) as error:
        raise StampError(
            f"{path} cannot be used ({error}); expected the authority's certificate in PEM"
        ) from None


def ask(url: str, seal: str, roots: Sequence[Certificate]) -> Stamp:
    """Have a seal stamped, and believe no answer that is not right.

    Args:
        url: The authority's address, ``http://`` or ``https://``: the stamp is signed itself.
        seal: The seal's 64 digits.
        roots: The certificates of the authorities that are believed.

    Raises:
        StampError: If there is no answer, or none that may be believed.
    """
    asked = TimestampRequestBuilder().data(seal.encode()).hash_algorithm(HashAlgorithm.SHA256)
    request = asked.build()
    builder = VerifierBuilder.from_request(request)  # with its nonce: no answer from before
    return _checked(_post(url, request.as_bytes()), seal, builder, roots)


def check(answer: bytes, seal: str, roots: Sequence[Certificate]) -> Stamp:
    """Return what a kept stamp says of a seal.

    Args:
        answer: As it was kept.
        seal: The seal's 64 digits, as the journal has it.
        roots: The certificates of the authorities that are believed.

    Raises:
        StampError: If it is not of this seal, or not of these authorities.
    """
    return _checked(answer, seal, VerifierBuilder(), roots)


def _checked(
    answer: bytes, seal: str, builder: VerifierBuilder, roots: Sequence[Certificate]
) -> Stamp:
    try:
        response = decode_timestamp_response(answer)
    except ValueError as error:
        raise StampError(f"it is no answer of an authority ({error})") from None
    if response.status != PKIStatus.GRANTED:
        said = "; ".join(response.status_string) or f"status {response.status}"
        raise StampError(f"the authority refused it ({said})")
    for root in roots:
        builder = builder.add_root_certificate(root)
    try:
        builder.build().verify_message(response, seal.encode())
    except VerificationError as error:
        raise StampError(f"it does not hold ({error})") from None
    return Stamp(at_ms=round(response.tst_info.gen_time.timestamp() * 1000), answer=answer)


def _post(url: str, body: bytes) -> bytes:
    if not url.startswith(("http://", "https://")):
        raise StampError(f"{url} is no address of an authority; expected http:// or https://")
    try:
        with urllib3.PoolManager(timeout=WITHIN_S, retries=False) as pool:
            answer = pool.request(
                "POST",
                url,
                body=body,
                headers={"Content-Type": QUERY, "Accept": REPLY},
                preload_content=False,
                redirect=False,
            )
            try:
                said = answer.read(LARGEST_BYTES + 1)
            finally:
                answer.close()
    except (urllib3.exceptions.HTTPError, OSError) as error:
        raise StampError(f"the authority is not reached ({type(error).__name__})") from None
    kind = answer.headers.get("Content-Type", "").partition(";")[0].strip().lower()
    if answer.status != 200 or kind != REPLY or len(said) > LARGEST_BYTES:
        raise StampError(
            f"the authority answered {answer.status} with {kind or 'nothing named'}; expected 200 "
            f"with {REPLY}"
        )
    return said
