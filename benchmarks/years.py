"""Years: what a journal holds, folded to its excursions, on one core and on two."""

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from harness import ROUNDS, Row, compare
from year_journal import PER_DAY, Year, probe_id

from rimewatch.config import load_shop
from rimewatch.evaluation.channels import history_of
from rimewatch.journal import JournalReader
from rimewatch.shop import Shop

LAST_MS = 4_000_000_000_000


def years_shop(probes: int) -> Shop:
    """Return a shop with a case for each probe of the journal."""
    head = '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "UTC"\n'
    return load_shop(
        head
        + "".join(
            f'[[unit]]\nid = "u{n}"\nname = "Case {n}"\nkind = "display-case"\n'
            "operating_limit_c = 3.3\n"
            f'[[probe]]\nid = "{probe_id(n)}"\nunit = "u{n}"\nmeasures = "air"\n'
            f'topic = "t{n}"\nformat = "number"\n'
            for n in range(probes)
        )
    )


def fold_stored(path: Path, probes: int, numbers: Sequence[int]) -> int:
    """Fold some probes from the journal to their excursions; return how many readings."""
    shop = years_shop(probes)
    count = 0
    with JournalReader.open(path) as reader:
        for number in numbers:
            history_of(shop, shop.probes[number], reader, LAST_MS)
            count += len(reader.span(shop.probes[number].id, None, LAST_MS))
    return count


def ready() -> None:
    """Do nothing: whoever has done it has imported everything."""


def run(year: Year, rounds: int = ROUNDS) -> list[Row]:
    """Return one probe's year from the journal, and every probe's on one core and on two."""
    shop = years_shop(year.probes)
    each = year.days * PER_DAY

    def one() -> float:
        with JournalReader.open(year.path) as reader:
            history_of(shop, shop.probes[0], reader, LAST_MS)
        return each

    single = compare(
        f"One probe's {year.days} days from the journal to their excursions",
        "readings/s",
        {"rimewatch": one},
        rounds=rounds,
    )
    every = range(year.probes)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        for started in [pool.submit(ready) for _ in range(4)]:
            started.result()

        def on(parts: int) -> Callable[[], float]:
            def work() -> float:
                asked = [
                    pool.submit(fold_stored, year.path, year.probes, every[part::parts])
                    for part in range(parts)
                ]
                return float(sum(one.result() for one in asked))

            return work

        many = compare(
            f"{year.probes} probes' {year.days} days from the journal to their excursions",
            "readings/s",
            {"two processes": on(2), "one process": on(1)},
            rounds=rounds,
        )
    return [single, many]
