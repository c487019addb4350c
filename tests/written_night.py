"""A night that arrived at a real writer, with a real journal: what records are made from."""

from io import BytesIO
from pathlib import Path

import numpy as np

from handmade import NIGHT, ONE_CONTACT, Paper, probe, unit
from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.intake.arrivals import Arrived
from rimewatch.intake.trace import TraceEntry, read_trace
from rimewatch.journal import Journal
from rimewatch.service.housekeeping import Housekeeping
from rimewatch.service.writer import Writer

SHOP_TEXT = "\n".join(
    (
        '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\ndisplay = "F"',
        '[broker]\nurl = "mqtt://127.0.0.1:1883"',
        unit("case-1", name="Front display case", on_delay_s=900, defrost=["02:00/30m"]),
        unit("walk-in", "walk-in", name="Walk-in cooler", on_delay_s=900),
        probe("air", "case-1"),
        probe("door", "case-1", "door"),
        probe("fish", "walk-in", "product"),
        ONE_CONTACT,
        NIGHT,
    )
)
SHOP = load_shop(SHOP_TEXT)


def write_night(path: Path, start: str, hours: float) -> Paper:
    """Let a night arrive at a real writer, with a real journal, batch by batch."""
    paper = Paper(start)
    rng = np.random.default_rng(20260302)
    for minute in range(int(hours * 60) + 1):
        warm = max(0.0, 6.0 - abs(minute - 700) / 12)
        celsius = 2.0 + 0.5 * np.sin(minute / 9) + warm + rng.normal(0, 0.02)
        if not 300 <= minute < 342:
            paper.say(minute * 60, round(float(celsius), 2))
        paper.say(minute * 60 + 7, round(1.0 + 0.3 * float(np.sin(minute / 20)), 2), "fish")
    for at_min, open_min in ((100, 1.5), (410, 4.0), (1200, 0.5)):
        paper.say(at_min * 60 + 11, 1, "door").say((at_min + open_min) * 60 + 11, 0, "door")
    paper.say(60 * 60, "no number")
    paper.do(725 * 60, "acknowledge", unit="case-1", rule="holding")
    paper.do(730 * 60, "shelve", unit="case-1", rule="door", minutes=60, who="Ana")
    paper.do(735 * 60, "unshelve", unit="case-1", rule="door", who="Ben")
    paper.do(
        740 * 60,
        "corrective-action",
        unit="case-1",
        text="Moved the fish to the walk-in",
        disposition="kept",
        lots=["L-1"],
    )
    lines = list(read_trace(BytesIO(paper.text())))
    clock = SteppedClock(lines[0].at_ms)
    with Journal.open(path) as journal:
        writer = Writer(SHOP, journal, clock)
        housekeeping = Housekeeping(journal, lambda: SHOP)
        for at in range(0, len(lines), 40):
            items = []
            for line in lines[at : at + 40]:
                clock.move_to(line.at_ms)
                if isinstance(line, TraceEntry):
                    journal.add_entry(line.entry, "test")
                else:
                    items.append(
                        Arrived(
                            topic=line.topic,
                            payload=line.payload,
                            arrived_ms=line.at_ms,
                            retained=False,
                            mid=0,
                            qos=1,
                            generation=0,
                        )
                    )
            writer.take(items)
            housekeeping.look(clock.now_ms())
    return paper
