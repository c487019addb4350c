"""Where fuzzing begins: sound messages, as other people's libraries write them, and our own files.

SenML by ``kpn-senml``, Sparkplug by ``pysparkplug``, CBOR by ``cbor2``; the shop that is shipped.
"""

import base64
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final
from urllib.parse import urlencode

import cbor2
import kpn_senml
import numpy as np

from handmade import Paper
from odd_payloads import ARRIVED_MS, NASTY, sound_messages
from rimewatch.evaluation.track_codec import FORMAT
from rimewatch.intake.trace import TraceEntry
from rimewatch.journal.blocks import pack_integers, pack_raws
from rimewatch.journal.entry_codec import entry_to_json

CORPUS: Final = Path(__file__).parent / "corpus"
CONFIG: Final = Path(__file__).parents[2] / "config/saltmarsh-row.toml"
LONGEST_SEED: Final = 20_000


def corpus(target: str) -> list[bytes]:
    """Return what was found or reached further once: a line of base64 each, and why behind it."""
    path = CORPUS / f"{target}.txt"
    if not path.exists():
        return []
    lines = path.read_text(encoding="ascii").splitlines()
    return [base64.b64decode(line.partition(" ")[0]) for line in lines]


def keep(target: str, more: Sequence[bytes]) -> None:
    """Add bytes to a target's corpus that it has not."""
    known = corpus(target)
    lines = [base64.b64encode(one).decode() for one in more if one not in known]
    CORPUS.mkdir(exist_ok=True)
    with (CORPUS / f"{target}.txt").open("a", encoding="ascii") as file:
        file.writelines(f"{line}\n" for line in lines)


def seeds() -> Mapping[str, Sequence[bytes]]:
    """Return some sound bytes, and some that were once trouble, for each target."""
    made = [entry_to_json(line.entry).encode() for line in _paper()]
    return {
        "decoders": [
            *_senml(),
            b"2.1",
            b'{"t": 2.1, "ts": 1772438400, "bat": 80}',
            *_short_nasty(),
        ],
        "receiver": [
            b"\n\n".join(bytes([n]) + said for n, (_, said) in enumerate(sound_messages())),
            *(bytes([4]) + nasty for nasty in _short_nasty()),
        ],
        "topics": [b"shop/+/air\nshop/#\nshop/case-1/air", b"#\n+/+\n$SYS/broker"],
        "entries": made,
        "configuration": [CONFIG.read_bytes(), *_tables(CONFIG.read_text(encoding="utf-8"))],
        "trace": [
            b"\n".join(made),
            b'{"at": "2026-03-02T08:00:00Z", "topic": "a", "payload": {"base64": "Mi4x"}}',
        ],
        "packed": _packed(),
        "kept-texts": [
            *(b"\0" + text for text in made),
            b"\3" + json.dumps(CHANNEL).encode(),
            *(bytes([kind]) + b"[" * 3000 for kind in range(4)),
        ],
        "forms": [bytes([n, 0]) + urlencode(FIELDS).encode() for n in range(24)],
    }


FIELDS: Final = {
    "lot": "A-1",
    "species": "Salmo salar",
    "unit": "case-1",
    "at": "2026-03-02T13:00",
    "condition": "service",
    "rule": "air",
    "minutes": "30",
    "text": "door open",
    "name": "Bo",
    "role": "look",
    "password": "ice and salt and ice",
}


CHANNEL: Final = {
    "format": FORMAT,
    "settings": {"lag_s": 0.0, "stale_ms": 180_000, "watches": []},
    "first_ms": None,
    "state": {"lag": None, "open": []},
    "ended": [],
}
"""A channel's state in a checkpoint, with nothing in it."""


def _paper() -> Sequence[TraceEntry]:
    paper = Paper().receive(0, "A-1")
    return [line for line in paper.read() if isinstance(line, TraceEntry)]


def _short_nasty() -> list[bytes]:
    return [nasty for nasty in NASTY if len(nasty) < LONGEST_SEED]


def _senml() -> list[bytes]:
    pack = kpn_senml.SenmlPack("case-1:")
    pack.base_time = ARRIVED_MS // 1000
    pack.add(kpn_senml.SenmlRecord("t", unit="Cel", value=2.1))
    pack.add(kpn_senml.SenmlRecord("bat", unit="/", value=0.8, time=-60))
    return [
        pack.to_json().encode(),
        bytes(pack.to_cbor()),
        cbor2.dumps([{0: "t", 1: "Cel", 2: 2.1, 6: -5}]),
        json.dumps([{"n": "t", "u": "Cel", "v": 2.1, "bt": ARRIVED_MS // 1000}]).encode(),
    ]


def _packed() -> list[bytes]:
    times = ARRIVED_MS + 60_000 * np.arange(6, dtype=np.int64)
    raws = np.array([2.1, 2.25, 1 / 3, 2.0])
    whole = [pack_integers(times), pack_raws(raws, np.zeros(4))]
    return [
        *(b"\0" + one for one in whole),
        *(bytes([kind]) + one[4:26] + b"\1\2\3\4" * 8 for kind in (1, 2) for one in whole),
        *(bytes([kind]) + bytes(64) for kind in (3, 4, 5)),
    ]


def _tables(text: str) -> list[bytes]:
    """Return the file's tables one at a time: short texts are fuzzed faster."""
    return [f"[{part}".encode() for part in text.split("\n[")[1:]]
