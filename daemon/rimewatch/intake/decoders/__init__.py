"""Decoders: from a payload's bytes to drafts of readings, one module a format."""

from rimewatch.intake.decoders.draft import (
    Absent,
    Decoder,
    Draft,
    TimeOrigin,
    Undecodable,
    UnusableProbe,
)
from rimewatch.intake.decoders.make import MAKERS, make_decoder

__all__ = [
    "MAKERS",
    "Absent",
    "Decoder",
    "Draft",
    "TimeOrigin",
    "Undecodable",
    "UnusableProbe",
    "make_decoder",
]
