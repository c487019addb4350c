"""A part of pytest that tells coverage.py which test is running, and notes how long each took."""

import json
import os
from collections.abc import Iterator
from pathlib import Path

import coverage
import pytest

TOOK_S: dict[str, float] = {}


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """Name the test in what is measured from here on."""
    measuring = coverage.Coverage.current()
    assert measuring is not None, "to be run under coverage.py"
    measuring.switch_context(item.nodeid)
    result = yield
    measuring.switch_context("")
    return result


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Add a part of a test to the time it took."""
    TOOK_S[report.nodeid] = TOOK_S.get(report.nodeid, 0.0) + report.duration


def pytest_sessionfinish() -> None:
    """Write the times down."""
    Path(os.environ["RIMEWATCH_TEST_TIMES"]).write_text(json.dumps(TOOK_S), encoding="utf-8")
