"""The dashboard that is shipped: of its format's published types, its queries on a database."""

import json
import typing
from collections.abc import Callable, Iterator
from enum import Enum
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import grafana_foundation_sdk
import pytest
from click.testing import CliRunner
from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.cog.plugins import register_default_plugins
from grafana_foundation_sdk.models import dashboard as published

from mirrored import PATIENCE_S, QUICK, TOKEN
from mosquitto_broker import Mosquitto
from rimewatch.cli import rimewatch
from rimewatch.config import load_shop
from rimewatch.intake.trace import TraceEntry, TraceMessage, read_trace
from rimewatch.mirror.mirror import Mirror
from running_service import RunningService
from service_process import until
from victoria import Victoria

pytestmark = pytest.mark.integration

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
[mirror]
url = "{url}"
org = "saltmarsh-row"
bucket = "rimewatch"
token = "env:MIRROR_TOKEN"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
operating_limit_c = 3.3
on_delay_s = 300
lag_s = 600
[[unit]]
id = "ulf-1"
name = "Ultra-low freezer"
kind = "ultra-low-freezer"
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
[[probe]]
id = "case-1-humidity"
unit = "case-1"
measures = "humidity"
topic = "shop/case-1/humidity"
[[probe]]
id = "case-1-door"
unit = "case-1"
measures = "door"
topic = "shop/case-1/door"
[[probe]]
id = "ulf-1-air"
unit = "ulf-1"
measures = "air"
topic = "shop/ulf-1/air"
"""
START_MS = 1_772_539_200_000  # 2026-03-03T12:00:00Z
MINUTE_MS = 60_000


@pytest.fixture(autouse=True)
def quick_mirror(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the service's mirror look at the journal every few hundredths of a second."""
    monkeypatch.setattr("rimewatch.mirror.mirror.Mirror", partial(Mirror, pace=QUICK))


@pytest.fixture
def victoria(tmp_path: Path) -> Iterator[Victoria]:
    """Give a running database that merges points of one time."""
    database = Victoria(tmp_path / "victoria")
    database.start()
    yield database
    database.stop()


def document() -> dict[str, Any]:
    told = CliRunner().invoke(rimewatch, ["mirror", "dashboard"], catch_exceptions=False)
    loaded: dict[str, Any] = json.loads(told.output)
    return loaded


def conforms(value: object, hint: Any) -> bool:
    """Return whether a value is of the type that a published class declares for it."""
    origin, inner = typing.get_origin(hint), typing.get_args(hint)
    if origin is typing.Union:
        return any(conforms(value, one) for one in inner)
    if origin is typing.Literal:
        return value in inner
    if isinstance(value, list | dict):
        held = list(value.values()) if isinstance(value, dict) else value
        return hint is object or (
            isinstance(value, origin or hint) and all(conforms(one, inner[-1]) for one in held)
        )
    if hint in (int, float):
        is_number = isinstance(value, int if hint is int else int | float)
        return is_number and not isinstance(value, bool)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return value in [one.value for one in hint]  # JSON has no enumerations
    return isinstance(value, origin or hint)


def faults(value: object, where: str = "") -> Iterator[str]:
    """Yield where an object of the published classes holds something of another type."""
    if isinstance(value, list):
        for at, one in enumerate(value):
            yield from faults(one, f"{where}[{at}]")
    elif type(value).__module__.startswith(grafana_foundation_sdk.__name__):
        for name, hint in typing.get_type_hints(type(value)).items():
            held = getattr(value, name)
            if not conforms(held, hint):
                yield f"{where}.{name} is {held!r}; expected {hint}"
            yield from faults(held, f"{where}.{name}")


def test_dashboard_is_of_the_published_form() -> None:
    """Source: grafana-foundation-sdk (Apache 2.0), the classes that its makers publish for 10.1.

    Read into them and written again nothing is lost: no key is unknown, none is missing.
    """
    register_default_plugins()
    read = published.Dashboard.from_json(document())

    assert json.loads(json.dumps(read, cls=JSONEncoder)) == document()
    assert list(faults(read)) == []
    ids = [panel["id"] for panel in document()["panels"]]
    assert len(set(ids)) == len(ids) > 5


def test_dashboard_shows_the_usual_cautions() -> None:
    """A verdict on fish never stands alone."""
    texts = " ".join(
        str(panel["options"].get("content", "")) + panel.get("description", "")
        for panel in document()["panels"]
    )
    for caution in ("no guarantee of safety", "person in charge", "licensed authority"):
        assert caution in texts
    assert "proven is no guarantee" in texts


def lines() -> list[TraceMessage | TraceEntry]:
    """Return an hour: a case too warm for twenty minutes behind its open door, a lot in a hold."""
    said: list[dict[str, Any]] = []
    for minute in range(61):
        at = f"2026-03-03T{12 + minute // 60}:{minute % 60:02}:00Z"
        warm = "15.0" if 10 <= minute < 30 else "1.0"
        said.append({"at": at, "topic": "shop/case-1/air", "payload": warm})
        said.append({"at": at, "topic": "shop/case-1/humidity", "payload": "81"})
        said.append({"at": at, "topic": "shop/ulf-1/air", "payload": "-64.0"})
        if minute in (9, 30):
            payload = "open" if minute == 9 else "closed"
            said.append({"at": at, "topic": "shop/case-1/door", "payload": payload})
        if minute == 2:
            lot = {"lot": "L-1", "species": "Oncorhynchus nerka", "origin": "wild"}
            said.append({"at": at, "do": "receive-lot", "serve_raw": True, "celsius": 1.0, **lot})
        if minute == 3:
            freezing = {"do": "start-freezing", "lot": "L-1", "unit": "ulf-1"}
            said.append({"at": at, **freezing, "option": "35C-15h"})
    text = b"".join(json.dumps(line).encode() + b"\n" for line in said)
    return list(read_trace(BytesIO(text)))


Ask = Callable[[str], dict[str, list[tuple[int, float]]]]


def asking(victoria: Victoria) -> Ask:
    """Return a function that asks a panel's question over the hour, its variables filled in."""

    def ask(expression: str) -> dict[str, list[tuple[int, float]]]:
        filled = expression.replace("$shop", "Saltmarsh Row Fish").replace("$unit", ".*")
        asked = {
            "query": filled,
            "start": START_MS / 1000,
            "end": START_MS / 1000 + 3600,
            "step": 60,
        }
        answer = json.loads(victoria.get(f"/api/v1/query_range?{urlencode(asked)}"))
        return {
            " ".join(f"{k}={v}" for k, v in sorted(one["metric"].items()) if k != "__name__"): [
                (round((at * 1000 - START_MS) / MINUTE_MS), float(value))
                for at, value in one["values"]
            ]
            for one in answer["data"]["result"]
        }

    return ask


def test_every_panel_is_answered_by_a_database_that_follows_a_service(
    tmp_path: Path, mosquitto: Mosquitto, victoria: Victoria
) -> None:
    """Fish, limits, state, doors, alarms and lots of an hour with an excursion in it."""
    shop = load_shop(SHOP.format(port=mosquitto.port, url=victoria.url), {"MIRROR_TOKEN": TOKEN})
    played, path, ask = lines(), tmp_path / "rimewatch.db", asking(victoria)
    parts = [
        [one for one in played if START_MS + a * MINUTE_MS <= one.at_ms < START_MS + b * MINUTE_MS]
        for a, b in ((0, 26), (26, 61))
    ]
    for part, state in zip(parts, (1.0, 0.0), strict=True):
        with RunningService(shop, path, part[0].at_ms) as running:
            running.play(mosquitto.port, part)
        with RunningService(shop, path, part[-1].at_ms):  # its books are sent as it starts

            def is_there(wanted: float = state) -> bool:
                victoria.show_everything()
                found = ask('last_over_time(alarm_active{rule="holding"}[1h])')
                ends = [values[-1][1] for values in found.values()]
                return ends == [wanted] and bool(ask("lot_standing_code"))

            until(is_there, f"an alarm that is {state}", within_s=PATIENCE_S)
    victoria.show_everything()

    answers = {
        (panel["title"], target["refId"]): ask(target["expr"])
        for panel in document()["panels"]
        for target in panel.get("targets", ())
    }
    assert {key for key, answer in answers.items() if not answer} == set()
    fish = dict(answers["Fish, as the limits are held against it", "A"])
    case = dict(fish["probe=case-1-air shop=Saltmarsh Row Fish unit=case-1"])
    # The lag's step answer: 1 + 14 (1 − exp(−t/τ)) some 19 min after the step, τ 10 min.
    assert 12.5 < max(case.values()) < 13.5
    limits = answers["Fish, as the limits are held against it", "B"]
    assert {values[-1][1] for values in limits.values()} == {5.0, -60.0}
    early = answers["Fish, as the limits are held against it", "C"]
    assert {values[-1][1] for values in early.values()} == {3.3}
    (door,) = answers["Doors", "A"].values()
    assert (dict(door)[20], dict(door)[59]) == (1.0, 0.0)
    (alarm,) = (v for k, v in answers["Alarms that are on", "A"].items() if "holding" in k)
    assert {value for _, value in alarm} == {1.0, 0.0}
    assert (dict(alarm)[25], dict(alarm)[60]) == (1.0, 0.0)
    states = answers["How each unit stands", "A"]
    assert 2.0 in {v for _, v in states["shop=Saltmarsh Row Fish unit=case-1"]}
    assert {v for _, v in states["shop=Saltmarsh Row Fish unit=ulf-1"]} <= {0.0, 4.0}
    (lot,) = answers["What may be said of each lot", "A"].values()
    assert {value for _, value in lot} == {2.0}  # unproven: its hold has just begun
