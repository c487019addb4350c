"""Listening to a broker before somebody's eyes: the table of what is there, as it grows."""

from collections import deque
from collections.abc import Sequence
from typing import Final

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.live import Live
from rich.markup import escape
from rich.table import Table

from rimewatch.clock import Clock
from rimewatch.intake.eavesdrop import EVERYTHING, eavesdrop
from rimewatch.intake.heard_besides import fits_pt100
from rimewatch.intake.sparkplug.payload import rebirth_command
from rimewatch.intake.sparkplug.topics import NAMESPACE, NodeName
from rimewatch.intake.survey import Guess, Survey
from rimewatch.shop import Broker

SHOWN: Final = 40
"""Rows of the table; everything is in the proposal and in --json."""
REDRAW_S: Final = 1.0
SHORT_S: Final = 9.5
"""Intervals below this are shown with their tenths."""


def listen(
    broker: Broker,
    clock: Clock,
    seconds: float,
    *,
    topics: Sequence[str] = (EVERYTHING,),
    may_be_cut_short: bool = False,
    rebirth: bool = False,
    survey: Survey | None = None,
) -> Survey:
    """Listen, and show what there is so far where somebody looks at a terminal.

    Args:
        broker: Where to listen.
        clock: The machine's.
        seconds: For how long.
        topics: What to listen to.
        may_be_cut_short: Whether Ctrl-C ends the listening alone, and keeps what was heard.
        rebirth: Whether a Sparkplug node that is heard without its birth is asked for it, once.
        survey: What was heard before.

    Raises:
        NotHeard: If the broker cannot be listened to.
        BrokerSettingsError: If the settings cannot be used.
    """
    survey = survey or Survey()
    outgoing: deque[tuple[str, bytes]] = deque()
    asked: set[NodeName] = set()
    if rebirth:
        _ask_for_births(survey, asked, outgoing, clock)
    console = Console(stderr=True)
    shown_s = clock.monotonic_s()
    with Live(console=console, auto_refresh=False, transient=True) as live:
        try:
            for heard in eavesdrop(broker, clock, seconds, topics=topics, outgoing=outgoing):
                if heard is not None and not heard.topic.startswith("rimewatch/"):
                    survey.add(
                        heard.topic,
                        heard.payload,
                        heard.arrived_ms,
                        retained=heard.retained,
                        qos=heard.qos,
                    )
                    if rebirth and heard.topic.startswith(NAMESPACE):
                        _ask_for_births(survey, asked, outgoing, clock)
                if console.is_terminal and clock.monotonic_s() - shown_s >= REDRAW_S:
                    shown_s = clock.monotonic_s()
                    live.update(guess_table(survey.guesses()), refresh=True)
        except KeyboardInterrupt:
            if not may_be_cut_short:
                raise
    return survey


def _ask_for_births(
    survey: Survey, asked: set[NodeName], outgoing: deque[tuple[str, bytes]], clock: Clock
) -> None:
    for node in survey.without_birth():
        if node not in asked:
            asked.add(node)
            outgoing.append((node.command_topic, rebirth_command(clock.now_ms())))


def guess_table(guesses: Sequence[Guess]) -> Table:
    """Return what each topic seems to be, one row each."""
    table = Table(box=SIMPLE_HEAD, padding=(0, 1), pad_edge=False)
    # A topic is what somebody looks for: it is folded where it must be, and never cut.
    table.add_column("Topic", overflow="fold")
    table.add_column("Heard", justify="right", no_wrap=True)
    table.add_column("Sends", overflow="fold")
    table.add_column("Range", no_wrap=True)
    table.add_column("Looks like")
    for guess in guesses[:SHOWN]:
        field = guess.value if guess.match is None else f"{guess.value} of {guess.match[1]}"
        table.add_row(
            escape(guess.topic),
            f"{guess.messages}{_interval(guess.interval_s)}",
            escape(f"{guess.format} {field}".rstrip()),
            guess.span,
            looks_like(guess) or escape(guess.last),
        )
    return table


def looks_like(guess: Guess) -> str:
    """Return what a topic seems to be, and the doubt about it; empty: nobody can tell."""
    if fits_pt100(guess):
        return f"{guess.likeness}; fits the ohms of a Pt100"
    return guess.likeness


def _interval(interval_s: float | None) -> str:
    if interval_s is None:
        return ""
    return f", each {interval_s:.{0 if interval_s >= SHORT_S else 1}f} s"
