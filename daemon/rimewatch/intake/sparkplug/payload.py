"""Sparkplug B payloads: bytes to plain values, and the one command that is sent.

The message types are described here in full view, field by field, and handed to the
protobuf library at run time: no generated file to keep in step with a library's version.
Described is what a probe needs. Templates, data sets, metadata and properties are left
out, and protobuf skips what is not described, so that no nesting of theirs costs anything.

Pure: no clock, no I/O.

References:
    [1] Sparkplug 3.0.0 (ISO/IEC 20237:2023), chapter 6, payloads: field numbers and
        datatypes of ``sparkplug_b.proto``, package org.eclipse.tahu.protobuf (field numbers
        from memory, held against a client library's messages in the tests).
"""

from dataclasses import dataclass
from typing import Any, Final

from google.protobuf.descriptor_pb2 import (
    DescriptorProto,
    FieldDescriptorProto,
    FileDescriptorProto,
)
from google.protobuf.descriptor_pool import DescriptorPool
from google.protobuf.message import DecodeError
from google.protobuf.message_factory import GetMessageClass

from rimewatch.intake.decoders.draft import Undecodable

_FIELD = FieldDescriptorProto
_ONE: Final = _FIELD.LABEL_OPTIONAL

_METRIC: Final = (
    ("name", 1, _FIELD.TYPE_STRING),
    ("alias", 2, _FIELD.TYPE_UINT64),
    ("timestamp", 3, _FIELD.TYPE_UINT64),
    ("datatype", 4, _FIELD.TYPE_UINT32),
    ("is_historical", 5, _FIELD.TYPE_BOOL),
    ("is_transient", 6, _FIELD.TYPE_BOOL),
    ("is_null", 7, _FIELD.TYPE_BOOL),
)
_VALUE: Final = (
    ("int_value", 10, _FIELD.TYPE_UINT32),
    ("long_value", 11, _FIELD.TYPE_UINT64),
    ("float_value", 12, _FIELD.TYPE_FLOAT),
    ("double_value", 13, _FIELD.TYPE_DOUBLE),
    ("boolean_value", 14, _FIELD.TYPE_BOOL),
    ("string_value", 15, _FIELD.TYPE_STRING),
)
"""The members of the metric's ``oneof value`` that hold one plain value. Source: [1]."""

_SIGNED_BITS: Final = {1: 8, 2: 16, 3: 32, 4: 64}
"""Datatypes Int8 to Int64: two's complement inside an unsigned field. Source: [1]."""

BOOLEAN: Final = 11
"""Datatype of a boolean. Source: [1]."""

REBIRTH: Final = "Node Control/Rebirth"
BD_SEQ: Final = "bdSeq"
"""Names of metrics. Source: [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Metric:
    """One metric of a message; None where the message leaves it out."""

    name: str | None
    alias: int | None
    timestamp_ms: int | None
    datatype: int | None
    is_historical: bool
    is_null: bool
    value: int | float | bool | str | None
    """As it stands in the message: an integer unsigned, see :func:`signed`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Payload:
    """A message."""

    timestamp_ms: int | None
    seq: int | None
    metrics: tuple[Metric, ...]


def _described() -> FileDescriptorProto:
    file = FileDescriptorProto(
        name="sparkplug_b_probe.proto", package="org.eclipse.tahu.protobuf", syntax="proto2"
    )
    payload = file.message_type.add(name="Payload")
    metric: DescriptorProto = payload.nested_type.add(name="Metric")
    for name, number, kind in _METRIC:
        metric.field.add(name=name, number=number, type=kind, label=_ONE)
    metric.oneof_decl.add(name="value")
    for name, number, kind in _VALUE:
        metric.field.add(name=name, number=number, type=kind, label=_ONE, oneof_index=0)
    payload.field.add(name="timestamp", number=1, type=_FIELD.TYPE_UINT64, label=_ONE)
    payload.field.add(
        name="metrics",
        number=2,
        type=_FIELD.TYPE_MESSAGE,
        label=_FIELD.LABEL_REPEATED,
        type_name=".org.eclipse.tahu.protobuf.Payload.Metric",
    )
    payload.field.add(name="seq", number=3, type=_FIELD.TYPE_UINT64, label=_ONE)
    return file


def _message_class() -> Any:  # noqa: ANN401 - made at run time; nothing to name its type by
    pool = DescriptorPool()  # of our own: another library's description does not meet ours
    pool.Add(_described())
    return GetMessageClass(pool.FindMessageTypeByName("org.eclipse.tahu.protobuf.Payload"))


_Payload: Final = _message_class()


def read_payload(payload: bytes) -> Payload:
    """Return what a message holds.

    Raises:
        Undecodable: If the bytes are no Sparkplug payload.
    """
    message = _Payload()
    try:
        message.ParseFromString(payload)
    except (DecodeError, ValueError) as err:
        text = f"the payload is not Sparkplug B: {ascii(str(err))[:120]}"
        raise Undecodable(text, whole=True) from None
    return Payload(
        timestamp_ms=message.timestamp if message.HasField("timestamp") else None,
        seq=message.seq if message.HasField("seq") else None,
        metrics=tuple(_metric(metric) for metric in message.metrics),
    )


def _metric(metric: Any) -> Metric:  # noqa: ANN401 - see _message_class
    member = metric.WhichOneof("value")
    return Metric(
        name=_text(metric.name) if metric.HasField("name") else None,
        alias=metric.alias if metric.HasField("alias") else None,
        timestamp_ms=metric.timestamp if metric.HasField("timestamp") else None,
        datatype=metric.datatype if metric.HasField("datatype") else None,
        is_historical=metric.is_historical,
        is_null=metric.is_null,
        value=None if member is None else _text(getattr(metric, member)),
    )


def _text(value: Any) -> Any:  # noqa: ANN401 - whatever a field holds
    """Return a value as it is; text that is no UTF-8 comes as bytes, and is made printable."""
    return value.decode(errors="backslashreplace") if isinstance(value, bytes) else value


def signed(value: int, datatype: int | None) -> int:
    """Return an integer metric's value by its datatype: negative ones come as unsigned.

    >>> signed(4294967278, 3), signed(238, 1), signed(65535, 6)
    (-18, -18, 65535)
    """
    bits = _SIGNED_BITS.get(datatype or 0)
    if bits is None:
        return value
    value &= (1 << bits) - 1
    return value - (1 << bits) if value >> (bits - 1) else value


def metric_value(metric: Metric, datatype: int | None) -> int | float | bool | str | None:
    """Return a metric's value, integers with their sign, booleans as such.

    Args:
        metric: The metric.
        datatype: Its own, or the one that its birth named.
    """
    value = None if metric.is_null else metric.value
    if isinstance(value, int) and not isinstance(value, bool):
        return bool(value) if datatype == BOOLEAN else signed(value, datatype)
    return value


def rebirth_command(at_ms: int) -> bytes:
    """Return the payload that asks an edge node for its births anew.

    Args:
        at_ms: When it is sent, milliseconds UTC.
    """
    message = _Payload(timestamp=at_ms)
    message.metrics.add(name=REBIRTH, timestamp=at_ms, datatype=BOOLEAN, boolean_value=True)
    made: bytes = message.SerializeToString()
    return made
