"""A payload as text or as a document: JSON or CBOR, whatever stands around it.

Some devices write a byte-order mark before their text, or send the NUL that ends it in their
memory: neither is part of what they say. Pure.
"""

from typing import Final

import cbor2
from pydantic_core import from_json

from rimewatch.intake.decoders.draft import Undecodable

BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"

CBOR_ERRORS: Final = (
    cbor2.CBORError,
    ArithmeticError,
    AttributeError,
    LookupError,
    MemoryError,
    RecursionError,
    TypeError,
    ValueError,
)
"""What the library may raise on bytes that are none."""


def is_cbor(payload: bytes) -> bool:
    """Return whether a payload begins as a CBOR array, map or tag does (RFC 8949, section 3.1).

    JSON begins with an ASCII sign, or with a byte-order mark's 0xEF.
    """
    return b"\x80" <= payload[:1] <= b"\xdb"


def bare(payload: bytes) -> bytes:
    """Return a payload without a byte-order mark before it and NULs behind it."""
    return payload.removeprefix(BYTE_ORDER_MARK).rstrip(b"\0")


def text_of(payload: bytes) -> str:
    """Return a payload of plain text.

    A degree sign of a device that knows no UTF-8 (0xB0, ISO 8859-1) is read as one.

    Raises:
        UnicodeDecodeError: If it is none.
    """
    plain = bare(payload)
    try:
        return plain.decode()
    except UnicodeDecodeError:
        return plain.replace(b"\xb0", "°".encode()).decode()


def document_of(payload: bytes) -> object:
    """Return what a payload of JSON or CBOR holds.

    Raises:
        Undecodable: If it is neither.
    """
    if is_cbor(payload):
        try:
            return cbor2.loads(payload)
        except CBOR_ERRORS as err:
            msg = f"the payload is not CBOR: {ascii(str(err))[:120]}"
            raise Undecodable(msg, whole=True) from None
    try:
        return from_json(payload)
    except ValueError as err:
        if (text := bare(payload)) == payload:
            raise Undecodable(f"the payload is not JSON: {err}", whole=True) from None
    try:
        return from_json(text)
    except ValueError as err:
        raise Undecodable(f"the payload is not JSON: {err}", whole=True) from None
