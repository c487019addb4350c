"""Format ``number``: the payload is one bare number, or one word from a contact.

Carries neither time nor battery. Never accepts a unit behind the number.
"""

from collections.abc import Sequence

from rimewatch.intake.decoders.draft import Decoder, Draft, Undecodable
from rimewatch.intake.decoders.values import contact_of, number_in
from rimewatch.shop import Probe


def number_decoder(probe: Probe) -> Decoder:
    """Return the decoder of a probe whose payload is a bare number or a contact's word."""
    is_contact = probe.measures.is_contact

    def decode(payload: bytes, _arrived_ms: int) -> Sequence[Draft]:
        try:
            text = payload.decode()
        except UnicodeDecodeError:
            msg = "the payload is not text; expected a bare number, such as 2.1"
            raise Undecodable(msg, whole=True) from None
        if not is_contact:
            return (Draft(number_in(text)),)
        word = text.strip()
        try:
            return (Draft(contact_of(word, "the payload")),)
        except Undecodable:
            return (Draft(contact_of(_as_number(word), "the payload")),)

    return decode


def _as_number(word: str) -> float | str:
    """Return "1.0" as 1.0, and any other word as it is."""
    try:
        return number_in(word)
    except Undecodable:
        return word
