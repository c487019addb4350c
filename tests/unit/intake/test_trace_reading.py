import io

import pytest
from intake_shop import ARRIVED_MS, TOPIC

from rimewatch.entries import MoveLot
from rimewatch.intake.trace import TraceEntry, TraceError, TraceMessage, read_trace
from rimewatch.vocabulary import LotId, UnitId

AT = b'{"at": "2026-03-02T08:00:00Z", '
GOOD = AT + b'"topic": "shop/case-1/air", "payload": "{\\"t\\": 2.1}"}\n'


def test_trace_messages_and_entries_come_in_their_order() -> None:
    """A night on file is read as it was."""
    lines = (
        b"\xef\xbb\xbf" + GOOD + b"\r\n" + b"   \n"
        b'{"at": "2026-03-02T02:00:01-06:00", "do": "move-lot", "lot": "L1", "unit": "case-1"}\r\n'
        + AT
        + b'"topic": "b", "payload": {"base64": "AP8="}, "retained": true}'
    )
    assert list(read_trace(io.BytesIO(lines))) == [
        TraceMessage(ARRIVED_MS, TOPIC, b'{"t": 2.1}'),
        TraceEntry(
            ARRIVED_MS + 1000,
            MoveLot(at_ms=ARRIVED_MS + 1000, lot=LotId("L1"), unit=UnitId("case-1")),
        ),
        TraceMessage(ARRIVED_MS, "b", b"\x00\xff", retained=True),
    ]


@pytest.mark.parametrize(
    ("line", "what"),
    [
        (GOOD[:-3], "not a whole JSON object"),
        (b"[]", "not a JSON object; expected {…}"),
        (b'{"topic": "a", "payload": ""}', '"at" is missing; expected ISO 8601 with a zone'),
        (b'{"at": "2026-03-02T08:00:00", "do": "x"}', "\"at\" is '2026-03-02T08:00:00'; expected"),
        (b'{"at": 1772438400, "do": "x"}', '"at" is 1772438400; expected ISO 8601'),
        (AT + b'"payload": ""}', '"topic" is missing; expected text, or "do"'),
        (AT + b'"topic": 3, "payload": ""}', '"topic" is 3; expected text'),
        (AT + b'"topic": "a"}', '"payload" is missing; expected text'),
        (AT + b'"topic": "a", "payload": {"t": 2.1}}', '"payload" is a dict; expected text'),
        (AT + b'"topic": "a", "payload": {"base64": "A-"}}', "not valid base64"),
        (AT + b'"topic": "a", "payload": {"base64": 3}}', "not valid base64"),
        (AT + b'"topic": "a", "payload": "", "retained": 1}', '"retained" is 1; expected true'),
        (AT + b'"topic": "a", "do": "move-lot"}', 'has both "topic" and "do"'),
        (AT + b'"do": "mvoe-lot"}', 'did you mean "move-lot"?'),
        (b"\xff\xfe", "not a whole JSON object"),
    ],
)
def test_trace_flaw_is_told_with_its_line(line: bytes, what: str) -> None:
    """A flaw in line 3 of a million is found by its number."""
    reading = read_trace(io.BytesIO(GOOD + b"\n" + line + b"\n" + GOOD))
    assert next(reading).at_ms == ARRIVED_MS
    with pytest.raises(TraceError) as refused:
        next(reading)

    assert refused.value.line == 3
    assert str(refused.value).startswith("line 3: ")
    assert what in str(refused.value)


def test_trace_line_beyond_the_limit_is_told_and_not_held(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A file without line ends does not fill the memory; a line of the limit's size is read."""
    monkeypatch.setattr("rimewatch.intake.trace.MAX_LINE_BYTES", len(GOOD))
    file = io.BytesIO(GOOD + b" " * 100_000)
    reading = read_trace(file)
    assert next(reading).at_ms == ARRIVED_MS
    with pytest.raises(TraceError, match="line 2: longer than"):
        next(reading)

    assert file.tell() == 2 * len(GOOD) + 1


def test_trace_is_read_no_further_than_asked() -> None:
    """A trace from standard input is followed while it is still being written."""
    file = io.BytesIO(GOOD * 3)
    next(read_trace(file))

    assert file.tell() == len(GOOD)


def test_trace_of_nothing_is_empty() -> None:
    """No lines, no error."""
    assert list(read_trace(io.BytesIO(b""))) == []
