"""An evaluator that is shown a trace, and every message it had sent."""

from handmade import Paper
from rimewatch.alarms.effects import Send
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.trace import TraceEntry
from rimewatch.lots.hold import Hold
from rimewatch.report.message import Message, alarm_message
from rimewatch.shop import Shop
from rimewatch.vocabulary import About, Rule, UnitId


class Watched:
    """What an evaluator had said of a trace by its end."""

    def __init__(self, paper: Paper, in_shop: Shop) -> None:
        self.paper, self.shop = paper, in_shop
        store, receiver = MemoryStore(), Receiver(in_shop)
        self.evaluator = Evaluator(in_shop, store, paper.start_ms)
        self.due: list[Send] = []
        for line in paper.read():
            self.evaluator.advance(line.at_ms)
            if isinstance(line, TraceEntry):
                receiver.enter(line.entry)
                self.evaluator.enter(line.entry)
                continue
            for reading in receiver.receive(line.topic, line.payload, line.at_ms).readings:
                store.add(reading)
                self.evaluator.observe(reading)
            outcomes = self.evaluator.take_outcomes()
            self.due += [outcome for outcome in outcomes if isinstance(outcome, Send)]

    def of(self, rule: Rule, about: About = About.RAISED) -> list[Send]:
        """Return the messages about a rule."""
        return [d for d in self.due if d.key.rule is rule and d.about is about]

    def hold(self) -> Hold:
        """Return the lot's hold as it is at the end."""
        (hold,) = self.evaluator.holds_in(UnitId("freezer-1")).values()
        return hold

    def words(self, due: Send) -> Message:
        """Return a message as a phone shows it."""
        return alarm_message(
            self.shop,
            due.condition,
            due.about,
            raised_ms=due.raised_ms,
            now_ms=due.at_ms,
            above_s=due.above_s,
        )
