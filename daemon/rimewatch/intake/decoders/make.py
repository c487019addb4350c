"""From a probe's configuration to its decoder."""

from collections.abc import Callable, Mapping
from typing import Final

from rimewatch.intake.decoders.csv_lines import csv_decoder
from rimewatch.intake.decoders.draft import Decoder, UnusableProbe
from rimewatch.intake.decoders.json_paths import json_decoder
from rimewatch.intake.decoders.number import number_decoder
from rimewatch.intake.decoders.senml import senml_decoder
from rimewatch.shop import Probe

MAKERS: Final[Mapping[str, Callable[[Probe], Decoder]]] = {
    "number": number_decoder,
    "json": json_decoder,
    "senml": senml_decoder,
    "csv": csv_decoder,
}
"""The formats this version reads. A further one is one function and one line here."""


def make_decoder(probe: Probe) -> Decoder:
    """Return the decoder that a probe's format and fields ask for.

    Raises:
        UnusableProbe: If the format is not one this version reads, or its fields do not fit.
    """
    maker = MAKERS.get(probe.format)
    if maker is None:
        known = ", ".join(f'"{name}"' for name in MAKERS)
        msg = f'format is "{probe.format}"; this version reads {known}: choose one of them'
        raise UnusableProbe(probe.id, msg)
    return maker(probe)
