"""Format ``number``: the payload is one number, or one word from a contact.

Carries neither time nor battery. A unit behind the number is read, and outranks the scale of the
configuration.
"""

from collections.abc import Sequence

from rimewatch.intake.decoders.documents import text_of
from rimewatch.intake.decoders.draft import Decoder, Draft, TimeOrigin, Undecodable
from rimewatch.intake.decoders.values import contact_of, measured_in, number_in
from rimewatch.shop import Probe


def number_decoder(probe: Probe) -> Decoder:
    """Return the decoder of a probe whose payload is a bare number or a contact's word."""
    measures, true_means = probe.measures, probe.true_means
    is_contact = measures.is_contact

    def decode(payload: bytes, _arrived_ms: int) -> Sequence[Draft]:
        try:
            text = text_of(payload)
        except UnicodeDecodeError:
            msg = "the payload is not text; expected a bare number, such as 2.1"
            raise Undecodable(msg, whole=True) from None
        if not is_contact:
            value, scale = measured_in(text, measures)
            return (Draft(value, None, None, TimeOrigin.ABSENT, scale),)
        word = text.strip()
        try:
            return (Draft(contact_of(word, "the payload", true_means)),)
        except Undecodable:
            return (Draft(contact_of(_as_number(word), "the payload", true_means)),)

    return decode


def _as_number(word: str) -> float | str:
    """Return "1.0" as 1.0, and any other word as it is."""
    try:
        return number_in(word)
    except Undecodable:
        return word
