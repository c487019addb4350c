"""A shop with everything left to its defaults, for tests that need little of one."""

from dataclasses import replace
from typing import Any

from rimewatch.config import load_shop
from rimewatch.shop import Shop

_PLAIN = load_shop("""
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
""")


def plain_shop(**given: Any) -> Shop:
    """Return a shop of no units and no probes but what is given."""
    return replace(_PLAIN, **{"units": (), "probes": (), **given})
