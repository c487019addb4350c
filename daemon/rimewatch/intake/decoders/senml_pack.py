"""SenML packs as they arrive: JSON or CBOR into records with RFC 8428's labels.

Knows the wire forms only; :mod:`rimewatch.intake.decoders.senml` resolves and reads
the records. Bounded by the receiver's limit on the payload.

References:
    [1] RFC 8428, Sensor Measurement Lists (SenML), 2018: sections 5 (JSON), 6 (CBOR).
"""

import json
from decimal import Decimal
from typing import Final

import cbor2

from rimewatch.intake.decoders.documents import BYTE_ORDER_MARK, CBOR_ERRORS, bare
from rimewatch.intake.decoders.draft import Undecodable, shown

Record = dict[str, object]

CBOR_LABELS: Final = {
    -1: "bver",
    -2: "bn",
    -3: "bt",
    -4: "bu",
    -5: "bv",
    -6: "bs",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
"""Integer map keys of SenML in CBOR. Source: [1], table 4 (from memory)."""


def load_pack(payload: bytes) -> list[Record]:
    """Return the records of a SenML pack, JSON or CBOR, told apart by the first byte.

    JSON begins with an ASCII sign; a CBOR array, tagged or not, with a byte from 0x80 on.

    Raises:
        Undecodable: If it is neither, or not an array of records with unique labels.
    """
    is_json = payload[:1] < b"\x80" or payload.startswith(BYTE_ORDER_MARK)
    pack = _from_json(bare(payload)) if is_json else _from_cbor(payload)
    if not isinstance(pack, list) or not pack:
        msg = f"the payload is {shown(pack)}; expected a SenML pack, an array of records"
        raise Undecodable(msg, whole=True)
    for record in pack:
        if not isinstance(record, dict):
            msg = f"the pack holds {shown(record)}; expected only records"
            raise Undecodable(msg, whole=True)
    return pack


def _from_json(payload: bytes) -> object:
    try:
        return json.loads(payload.decode(), object_pairs_hook=_record)
    except (ValueError, RecursionError) as err:
        msg = f"the payload is not SenML in JSON: {str(err)[:120]}"
        raise Undecodable(msg, whole=True) from None


def _from_cbor(payload: bytes) -> object:
    try:
        pack = cbor2.loads(payload)
        if not isinstance(pack, list):
            return pack
        return [_named(record) if isinstance(record, dict) else record for record in pack]
    except CBOR_ERRORS as err:
        msg = f"the payload is not SenML in CBOR: {ascii(str(err))[:120]}"
        raise Undecodable(msg, whole=True) from None


def _named(record: dict[object, object]) -> Record:
    return _record([(_label(key), _plain(value)) for key, value in record.items()])


def _label(key: object) -> str:
    if isinstance(key, int) and not isinstance(key, bool):
        return CBOR_LABELS.get(key, f"number {key % 1_000_000}")
    return key if isinstance(key, str) else f"a {type(key).__name__}"


def _plain(value: object) -> object:
    """Return a decimal fraction (CBOR tag 4) as a float; everything else as it is."""
    return float(value) if isinstance(value, Decimal) else value


def _record(pairs: list[tuple[str, object]]) -> Record:
    record = dict(pairs)
    if len(record) < len(pairs):
        msg = "a label stands twice in one record; nobody can tell which holds"
        raise Undecodable(msg, whole=True)
    return record
