"""Format ``senml``: sensor measurement lists of RFC 8428.

The pack is resolved first (base name, time, unit and value hold for their record and
all later ones), then the records that belong to the probe become drafts, oldest
first. The pack names its units, so a draft is in °C, %RH or 0/1 already, whatever
scale the probe's configuration names. SenML has no unit for degrees Fahrenheit, and
its ``C`` is the coulomb: an unknown unit is refused, never guessed.

References:
    [1] RFC 8428, Sensor Measurement Lists (SenML), 2018: sections 4.1 to 4.6, 12.1.
"""

import math
import re
from collections.abc import Sequence
from typing import Final, NamedTuple, overload

from rimewatch.intake.decoders.draft import (
    Absent,
    Decoder,
    Draft,
    TimeOrigin,
    Undecodable,
    UnusableProbe,
    shown,
)
from rimewatch.intake.decoders.senml_pack import Record, load_pack
from rimewatch.intake.decoders.values import battery_of, contact_of
from rimewatch.science.scales import celsius_of_kelvin
from rimewatch.shop import Probe
from rimewatch.vocabulary import MS_PER_S, Measures, Scale, TrueMeans

ABSOLUTE_FROM_S: Final = 2**28
"""A time of at least this many seconds is absolute, a smaller one relative to now.
Source: [1], section 4.5.3."""

HIGHEST_VERSION: Final = 10
"""The version this module understands; a higher one must not be read.
Source: [1], section 4.4 (from memory)."""

_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", re.ASCII)
"""What a resolved name may be. Source: [1], section 4.5.1."""

_SUITABLE: Final = {
    Measures.AIR: ("Cel", "K"),
    Measures.PRODUCT: ("Cel", "K"),
    Measures.HUMIDITY: ("%RH",),
    Measures.DOOR: (None, "/"),
    Measures.WATER: (None, "/"),
}
"""Units by what a probe measures; ``/`` is a ratio, 0 for off and 1 for on.
Source: [1], section 12.1."""

_KNOWN_LABELS: Final = frozenset(("bver", "bn", "bt", "bu", "bv", "bs", "n", "u", "v"))


class _Resolved(NamedTuple):
    name: str
    own_name: str
    unit: str | None
    time_s: float
    value: object
    """The sum of base value and value, a boolean, or None if the record has neither."""


def senml_decoder(probe: Probe) -> Decoder:
    """Return the decoder of a probe that sends SenML, as JSON or as CBOR.

    ``fields.value`` is the record's name, whole or without the base name; without it
    the pack must have one name only whose unit suits the probe. ``fields.battery`` is
    a record's name likewise.

    Raises:
        UnusableProbe: If the probe's scale is °F or a path for the time is given.
    """
    if probe.measures.is_temperature and probe.scale is not Scale.CELSIUS:
        msg = 'scale is "F"; SenML names its units itself and knows Cel and K only: remove scale'
        raise UnusableProbe(probe.id, msg)
    if probe.fields.get("time"):
        msg = "fields.time is set; SenML has its own times: remove fields.time"
        raise UnusableProbe(probe.id, msg)
    wanted = probe.fields.get("value")
    battery_name = probe.fields.get("battery")
    measures, true_means = probe.measures, probe.true_means

    def decode(payload: bytes, arrived_ms: int) -> Sequence[Draft]:
        records = resolve(load_pack(payload))
        mine = _of_probe(records, wanted, measures)
        battery = _battery(records, battery_name)
        drafts = [_draft(record, measures, true_means, battery, arrived_ms) for record in mine]
        drafts.sort(key=lambda d: arrived_ms if d.observed_ms is None else d.observed_ms)
        return drafts

    return decode


def resolve(pack: Sequence[Record]) -> list[_Resolved]:
    """Return a pack's records with the base fields applied, in their own order.

    Raises:
        Undecodable: If the pack breaks RFC 8428: a label that must be understood and is
            not, a version above 10, a number or name that is none.
    """
    base_name, base_time_s, base_value = "", 0.0, 0.0
    base_unit: str | None = None
    resolved = []
    for record in pack:
        for label in record:
            if label not in _KNOWN_LABELS and label.endswith("_"):
                msg = f"the label {shown(label)} must be understood and is not"
                raise Undecodable(msg, whole=True)
        if _number(record, "bver", HIGHEST_VERSION) > HIGHEST_VERSION:
            msg = f"bver is {shown(record['bver'])}; expected at most {HIGHEST_VERSION}"
            raise Undecodable(msg, whole=True)
        base_name = _text(record, "bn", base_name)
        base_time_s = _number(record, "bt", base_time_s)
        base_unit = _text(record, "bu", base_unit)
        base_value = _number(record, "bv", base_value)
        own_name = _text(record, "n", "")
        name = base_name + own_name
        if not _NAME.fullmatch(name):
            msg = f"a record's name is {shown(name)}; expected letters, digits and - : . / _"
            raise Undecodable(msg, whole=True)
        value: object = record.get("vb")
        if "v" in record or ("bv" in record and not record.keys() & {"vs", "vb", "vd", "s"}):
            value = base_value + _number(record, "v", 0.0)
        time_s = base_time_s + _number(record, "t", 0.0)
        unit = _text(record, "u", base_unit)
        resolved.append(_Resolved(name, own_name, unit, time_s, value))
    return resolved


def _of_probe(records: list[_Resolved], wanted: str | None, measures: Measures) -> list[_Resolved]:
    if wanted is None:
        mine = [r for r in records if r.unit in _SUITABLE[measures] and r.value is not None]
        what = f"with a value in {_units(measures)}"
    else:
        mine = [r for r in records if wanted in (r.name, r.own_name)]
        what = f'named "{wanted}"'
    if not mine:
        # A record in the probe's own unit that has no value is not somebody else's.
        is_valueless = wanted is None and any(r.unit in _SUITABLE[measures] for r in records)
        raise (Undecodable if is_valueless else Absent)(f"the pack has no record {what}")
    names = {record.name for record in mine}
    if len(names) > 1:
        msg = f"the pack has records {what} of {len(names)} sensors; name one in fields.value"
        raise Undecodable(msg)
    return mine


def _draft(
    record: _Resolved,
    measures: Measures,
    true_means: TrueMeans | None,
    battery: float | None,
    arrived_ms: int,
) -> Draft:
    if record.unit not in _SUITABLE[measures]:
        msg = f"the unit is {shown(record.unit)}; expected {_units(measures)}"
        raise Undecodable(msg)
    if measures.is_contact:
        value = contact_of(record.value, "the record's value", true_means)
    elif isinstance(record.value, float):
        value = celsius_of_kelvin(record.value) if record.unit == "K" else record.value
    else:
        msg = "the record has no number as its value"
        raise Undecodable(msg)
    if record.time_s >= ABSOLUTE_FROM_S:
        return Draft(value, round(record.time_s * MS_PER_S), battery, TimeOrigin.OWN)
    if record.time_s == 0:
        return Draft(value, None, battery, TimeOrigin.ABSENT)
    observed_ms = arrived_ms + round(record.time_s * MS_PER_S)
    return Draft(value, observed_ms, battery, TimeOrigin.RELATIVE)


def _battery(records: list[_Resolved], name: str | None) -> float | None:
    if name is None:
        return None
    found = [battery_of(r.value) for r in records if name in (r.name, r.own_name)]
    return found[-1] if found else None


def _units(measures: Measures) -> str:
    return " or ".join("no unit" if unit is None else unit for unit in _SUITABLE[measures])


def _number(record: Record, label: str, default: float) -> float:
    value = record.get(label, default)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Undecodable(f"{label} is {shown(value)}; expected a number", whole=True)
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    # A value that is not finite is named as such by the receiver; a time cannot be.
    if label not in ("v", "bv") and (not math.isfinite(number) or abs(number) > 1e12):
        raise Undecodable(f"{label} is {shown(value)}; expected a usual number", whole=True)
    return number


@overload
def _text(record: Record, label: str, default: str) -> str: ...
@overload
def _text(record: Record, label: str, default: str | None) -> str | None: ...
def _text(record: Record, label: str, default: str | None) -> str | None:
    value = record.get(label, default)
    if value is default or isinstance(value, str):
        return value
    raise Undecodable(f"{label} is {shown(value)}; expected text", whole=True)
