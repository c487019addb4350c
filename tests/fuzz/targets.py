"""What is fuzzed: for each edge, what must hold whatever the bytes are.

A target takes any bytes and raises nothing: that an edge refuses them in its own words is how it
should be, anything else is a finding.
"""

import io
import re
import struct
import zlib
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import cache
from http import HTTPStatus
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

import numpy as np
from argon2 import PasswordHasher
from starlette.routing import Route
from starlette.testclient import TestClient

from handmade import Paper, probe, shop, unit
from odd_payloads import ARRIVED_MS, any_receiver, holds
from page_visitor import Pages, form_token, pages_of, publish
from rimewatch.alarms.codec import alarm_from_json, from_json
from rimewatch.clock import SteppedClock
from rimewatch.config import ConfigError, load_shop
from rimewatch.config.topics import overlap
from rimewatch.evaluation.track_codec import from_text
from rimewatch.intake.entries import EntryError
from rimewatch.intake.entry_messages import entry_of_message
from rimewatch.intake.survey import Survey
from rimewatch.intake.topics import TopicTable, is_filter, storable
from rimewatch.intake.trace import TraceEntry, TraceError, read_trace
from rimewatch.journal.blocks import BlockDamagedError, unpack_integers, unpack_raws
from rimewatch.journal.day_rollup import CHANGE, GOVERNING, HOUR, opened
from rimewatch.journal.entry_codec import EntryCodecError, entry_from_json, entry_to_json
from rimewatch.journal.journal import Journal
from rimewatch.service.writer import Writer
from rimewatch.web import enter, people
from rimewatch.web.people import Role

Target = Callable[[bytes], None]


def decoders(data: bytes) -> None:
    """Every decoder gives drafts or its own error."""
    holds(data)


def receiver(data: bytes) -> None:
    """A few messages in turn, by sparkplug and not, become readings or are quarantined.

    The first byte of each piece says on which topic it comes; an empty line stands between pieces.
    """
    one, survey = any_receiver(), Survey()
    for number, piece in enumerate(data.split(b"\n\n")[:8]):
        topic = TOPICS[piece[0] % len(TOPICS)] if piece else TOPICS[0]
        received = one.receive(topic, piece[1:], ARRIVED_MS + number)
        survey.add(topic, piece[1:], ARRIVED_MS + number)
        for reading in received.readings:
            assert -90.0 <= reading.value <= 60.0
        for kept in received.quarantined:
            kept.topic.encode()
            kept.detail.encode()
    survey.guesses()


TOPICS: Final = (
    "spBv1.0/fish/NBIRTH/node-1",
    "spBv1.0/fish/DBIRTH/node-1/case-1",
    "spBv1.0/fish/DDATA/node-1/case-1",
    "spBv1.0/fish/NDEATH/node-1",
    "gw",
)


def topics(data: bytes) -> None:
    """A filter and a topic match as MQTT says; what overlaps is found to.

    Source of the reference below: MQTT Version 5.0 (OASIS Standard), section 4.7.
    """
    first, _, rest = data.decode("utf-8", "surrogateescape").partition("\n")
    second, _, topic = rest.partition("\n")
    assert storable(topic).isprintable()
    storable(topic).encode()
    if "+" in topic or "#" in topic or not topic:
        return
    matching = [one for one in (first, second) if is_filter(one) and _matches(one, topic)]
    table = TopicTable([(one, one) for one in (first, second) if is_filter(one)])
    assert list(table.find(topic)) == matching
    if len(matching) == 2:
        assert overlap(first, second)


def _matches(topic_filter: str, topic: str) -> bool:
    wanted, said = topic_filter.split("/"), topic.split("/")
    if topic.startswith("$") and wanted[0] in ("+", "#"):
        return False
    if wanted[-1] == "#":
        wanted.pop()
        if len(said) < len(wanted):
            return False
        said = said[: len(wanted)]
    return len(wanted) == len(said) and all(
        w in ("+", s) for w, s in zip(wanted, said, strict=True)
    )


def entries(data: bytes) -> None:
    """An entry over the broker is refused in words, or is one that a journal can keep."""
    try:
        entry = entry_of_message(data, ARRIVED_MS)
    except EntryError as error:
        assert 0 < len(str(error)) < 2000
        return
    kept = entry_to_json(entry)
    assert entry_from_json(kept) == entry


def configuration(data: bytes) -> None:
    """A configuration is a shop, or everything that is wrong with it is said."""
    try:
        load_shop(data.decode("utf-8", "replace"), sends=False)
    except ConfigError as error:
        assert error.problems
        str(error).encode()


def trace(data: bytes) -> None:
    """A trace is read, or the first line that is wrong is named."""
    try:
        list(read_trace(io.BytesIO(data)))
    except TraceError as error:
        assert 1 <= error.line <= data.count(b"\n") + 1


def packed(data: bytes) -> None:
    """A packed day is opened, or is said to be damaged; also where its checksum is right.

    The first byte says what is opened.
    """
    kind, body = (data[0] % 6, data[1:]) if data else (0, b"")
    values = np.zeros(4)
    with suppress(BlockDamagedError):
        match kind:
            case 0:
                unpack_integers(body)
            case 1:
                unpack_integers(_checked(body))
            case 2:
                unpack_raws(_checked(body), values)
            case _:
                opened(zlib.compress(body, 1), (HOUR, CHANGE, GOVERNING)[kind - 3])


_HEADER_BYTES: Final = 22


def _checked(body: bytes) -> bytes:
    header, rest = body[:_HEADER_BYTES], body[_HEADER_BYTES:]
    deflate = zlib.compressobj(1, zlib.DEFLATED, -15)
    content = header + deflate.compress(rest) + deflate.flush()
    return struct.pack("<I", zlib.crc32(content)) + content


def kept_texts(data: bytes) -> None:
    """What the journal keeps as text is read, or is said not to be what was written.

    The first byte says as what it is read.
    """
    kind, text = (data[0] % 4, data[1:].decode("utf-8", "replace")) if data else (0, "")
    match kind:
        case 0:
            with suppress(EntryCodecError):
                assert entry_from_json(entry_to_json(entry_from_json(text)))
        case 1:
            with suppress(ValueError):
                from_json(text)
        case 2:
            with suppress(ValueError):
                alarm_from_json(text)
        case _:
            from_text(text)


RENEWED_EVERY: Final = 300
"""Entries slow a shop of one freezer and one case down after some hundred."""


def forms(data: bytes) -> None:
    """What is filled in is taken or refused, and is never a fault of ours.

    The first byte says which form it is, the second whether it comes as one with a file.
    """
    visit = _visit()
    path = visit.forms[data[0] % len(visit.forms)] if data else visit.forms[0]
    with_file = len(data) > 1 and data[1] % 8 == 7
    body = data[2:] if with_file else visit.token + data[2:]
    kind = "multipart/form-data; boundary=x" if with_file else "application/x-www-form-urlencoded"
    answer = visit.client.post(path, content=body, headers={"content-type": kind})
    assert answer.status_code < 500 or answer.status_code == HTTPStatus.SERVICE_UNAVAILABLE
    if answer.headers.get("location", "").startswith("/sign-in"):
        _forget()  # whoever signed out, or took their own role away, fills in no more


class _Visit:
    """Somebody who is signed in to the pages of a small shop with a lot on its books."""

    def __init__(self) -> None:
        self._folder = TemporaryDirectory()
        own = shop(
            unit("freezer-1", "freezer"), probe("frozen", "freezer-1", measures="product"),
            unit("case-1"), probe("fish", "case-1", measures="product"),
        )  # fmt: skip
        paper = Paper().receive(0, "A-1")
        clock = SteppedClock(paper.start_ms)
        self._journal = Journal.open(Path(self._folder.name) / "rimewatch.db")
        Writer(own, self._journal, clock).take(())
        for line in paper.read():
            assert isinstance(line, TraceEntry)
            self._journal.add_entry(line.entry, "test")
        clock.move_to(paper.at_ms(60))
        pages: Pages = pages_of(own, self._journal.path, clock)
        publish(pages, own, self._journal)
        self.forms = [
            re.sub(r"\{.*?\}", "case-1", route.path)
            for route in pages.app.routes
            if isinstance(route, Route) and "POST" in (route.methods or ())
        ]
        self.client: TestClient = pages.signed_in(Role.SET_UP, name="Ana")
        self.token = f"form_token={form_token(self.client.get('/lots').text)}&".encode()
        self.left = RENEWED_EVERY

    def close(self) -> None:
        """Take the shop away."""
        self._journal.close()
        self._folder.cleanup()


_VISITS: list[_Visit] = []


def _visit() -> _Visit:
    if _VISITS and _VISITS[0].left == 0:
        _forget()
    if not _VISITS:
        hurry()
        _VISITS.append(_Visit())
    _VISITS[0].left -= 1
    return _VISITS[0]


def _forget() -> None:
    while _VISITS:
        _VISITS.pop().close()


def hurry() -> None:
    """Hash passwords at the lowest cost, and wait for no service: none runs here."""
    people._HASHER = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)  # type: ignore[misc]
    enter.TAKEN_IN_WITHIN_S = 0.0  # type: ignore[misc]


@cache
def words() -> Sequence[bytes]:
    """Return names and values that the edges know, for a fuzzer to try."""
    found: set[str] = set()
    for path in sorted((Path(__file__).parents[2] / "daemon/rimewatch").rglob("*.py")):
        found.update(
            re.findall(r'"([A-Za-z][\w-]{1,18})"', path.read_text(encoding="utf-8"), re.ASCII)
        )
    return [word.encode() for word in sorted(found)]


TARGETS: Final[Mapping[str, Target]] = {
    one.__name__.replace("_", "-"): one
    for one in (
        decoders,
        receiver,
        topics,
        entries,
        configuration,
        trace,
        packed,
        kept_texts,
        forms,
    )
}
