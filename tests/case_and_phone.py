"""A shop of one case with an air probe and one phone, for tests of what may fail around it."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from rimewatch.clock import SystemClock

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
on_delay_s = 300
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 3600
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:{phone}/first"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 3600
"""
CASE_ALONE = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 60
"""
"""The same with nobody to be told, and a probe that is expected to speak each minute."""

AIR = "shop/case-1/air"


def write_shop(folder: Path, port: int, phone: int) -> Path:
    """Write its configuration for a broker and a phone on these ports."""
    path = folder / "shop.toml"
    path.write_text(SHOP.format(port=port, phone=phone))
    return path


def air(celsius: float, minutes_ago: Iterable[int]) -> list[str]:
    """Make a reading for each of these minutes ago."""
    now = datetime.fromtimestamp(SystemClock().now_ms() // 1000, tz=UTC)
    moments = [(now - timedelta(minutes=ago)).isoformat() for ago in minutes_ago]
    return [f'{{"t": {celsius}, "ts": "{moment}"}}' for moment in moments]


def half_an_hour(celsius: float) -> list[str]:
    """Make thirty readings, a minute apart, that end now."""
    return air(celsius, range(29, -1, -1))
