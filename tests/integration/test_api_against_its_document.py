"""The interface for programs, asked by a tool that has only its document to go by.

Schemathesis makes requests from the OpenAPI document, right ones and wrong ones, and holds each
answer against it. The suite asks few; ``make api-check`` asks thousands.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from handmade import Paper, probe, shop, unit
from mosquitto_broker import Mosquitto
from rimewatch.shop import Web
from rimewatch.web.people import People, TokenScope, people_path
from running_service import RunningService

pytestmark = pytest.mark.integration

ASKED = os.environ.get("RIMEWATCH_API_EXAMPLES", "")
EXAMPLES = ASKED or "15"
ENDS_WITHIN_S = 60 + float(EXAMPLES)

SCOPES = [frozenset(TokenScope)]
if ASKED:  # what a narrower token opens is tested beside the interface; here it takes long
    SCOPES += [frozenset({TokenScope.READ}), frozenset({TokenScope.METRICS}), frozenset()]

KNOWN_PROBE = """
[[operations]]
include-path = "/api/readings"
parameters.probe = "fish"
"""
"""The document names no probe, since anybody may read it; the tool must know one."""


@pytest.fixture
def running(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[RunningService]:
    """Run the service over a case that is warm, one never heard, and a lot being frozen."""
    plain = shop(
        unit("case-1", name="Front display case"),
        probe("fish", measures="product"),
        unit("case-2", name="Side display case"),
        probe("air-2", "case-2"),
        unit("freezer-1", "freezer"),
        probe("frozen", "freezer-1", measures="product"),
    )
    own = replace(
        plain, broker=replace(plain.broker, url=mosquitto.url), web=Web(host="127.0.0.1", port=0)
    )
    paper = Paper().curve([(0, 2.0), (60, 8.0), (120, 8.5)], "fish").say(121, -25.0, "frozen")
    lines = paper.receive(122, "L1").freeze(123, "20C-168h", lot="L1").receive(124, "L2").read()
    with RunningService(own, tmp_path / "rimewatch.db", lines[0].at_ms) as service:
        service.play(mosquitto.port, lines)
        yield service


@pytest.mark.parametrize("scopes", SCOPES, ids=lambda scopes: "+".join(sorted(scopes)) or "none")
def test_every_answer_is_as_the_document_says(
    running: RunningService, tmp_path: Path, scopes: frozenset[TokenScope]
) -> None:
    """No request ends in a fault of ours; what is wrong is refused, and what is right is taken."""
    now_ms = running.clock.now_ms()
    secret = People(people_path(running.journal_path)).add_token("program", scopes, now_ms)
    (tmp_path / "schemathesis.toml").write_text(KNOWN_PROBE)
    # The same requests each time in CI; at home others, which finds more.
    fixed = ["--seed", "1", "--generation-deterministic"] if os.environ.get("CI") else []
    examined = subprocess.run(
        [sys.executable, "-m", "schemathesis.cli", "run",
         f"http://127.0.0.1:{running.service.pages.port}/api/openapi.json",
         "--header", f"Authorization: Bearer {secret}",
         "--checks", "all", "--mode", "all", "--phases", "coverage,fuzzing",
         "--max-examples", EXAMPLES, "--continue-on-failure", "--no-color", *fixed],
        cwd=tmp_path, capture_output=True, text=True, timeout=ENDS_WITHIN_S, check=False,
    )  # fmt: skip

    assert examined.returncode == 0, examined.stdout + examined.stderr
