"""Messages reach people over real HTTP, whatever one push service does to them."""

import threading
import time
from collections.abc import Callable

import pytest

from dispatch_desk import DEADLINE_S, NOW_MS, SHORT, Desk, row
from http_receiver import Answer, Receiver
from rimewatch.notify.results import Delivered, Failed, Limits

pytestmark = pytest.mark.integration


class TestChannels:
    def test_message_with_working_channel_is_delivered_once(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """The first phone gets the words as written; the second stays silent."""
        second = receiver.url("second")
        result = desk(first=[receiver.url("one"), second]).sent(row())

        assert result == Delivered(id=1, at_ms=NOW_MS, channel=0)
        assert receiver.requests == 1
        assert receiver.got[0]["message"].startswith("Front display case: fish 6.1 °C")
        assert receiver.got[0]["type"] == "failure"

    @pytest.mark.parametrize("answer", [Answer.REFUSE, Answer.RESET, Answer.LOSE])
    def test_message_with_failing_first_channel_goes_to_the_second_at_once(
        self, start_receiver: Callable[[], Receiver], desk: Callable[..., Desk], answer: Answer
    ) -> None:
        """A push service that answers badly costs no second try by the outbox."""
        bad, good = start_receiver(), start_receiver()
        bad.answer = answer
        result = desk(first=[bad.url(), good.url()]).sent(row())

        assert result == Delivered(id=1, at_ms=NOW_MS, channel=1)
        assert good.titles() == ["message 1"]

    def test_message_with_dead_first_channel_goes_to_the_second(
        self, start_receiver: Callable[[], Receiver], desk: Callable[..., Desk]
    ) -> None:
        """A port on which nobody listens is as good as an error."""
        dead, good = start_receiver(), start_receiver()
        dead.close()

        assert desk(first=[dead.url(), good.url()]).sent(row()) == Delivered(
            id=1, at_ms=NOW_MS, channel=1
        )

    @pytest.mark.parametrize("answer", [Answer.HANG, Answer.TRICKLE])
    def test_message_with_endless_first_channel_goes_to_the_second_in_time(
        self, start_receiver: Callable[[], Receiver], desk: Callable[..., Desk], answer: Answer
    ) -> None:
        """A service that trickles its answer outlives every time-out between two bytes."""
        slow, good = start_receiver(), start_receiver()
        slow.answer = answer
        opened = desk(first=[slow.url(), good.url()], limits=SHORT)

        assert opened.sent(row()) == Delivered(id=1, at_ms=NOW_MS, channel=1)
        health = opened.dispatcher.health().contacts[0]
        assert health.channels[0].hanging
        assert health.channels[1].last_delivered_ms == NOW_MS

    def test_many_endless_channels_leave_time_for_the_last(
        self, start_receiver: Callable[[], Receiver], desk: Callable[..., Desk]
    ) -> None:
        """However many services hang before it, the last one is tried within the limit of all."""
        slow, good = start_receiver(), start_receiver()
        slow.answer = Answer.HANG
        limits = Limits(connect_s=8, read_s=8, channel_s=5, chain_s=2)
        opened = desk(first=[slow.url(str(n)) for n in range(4)] + [good.url()], limits=limits)

        assert opened.sent(row()) == Delivered(id=1, at_ms=NOW_MS, channel=4)
        assert slow.requests == 4

    def test_usual_limits_end_a_whole_chain_within_a_minute(self) -> None:
        """An alarm is known to have failed before its first minute is over."""
        usual = Limits()

        assert usual.chain_s < 60
        assert usual.connect_s + usual.read_s < usual.channel_s

    def test_read_time_out_of_ours_ends_a_hanging_request(
        self, start_receiver: Callable[[], Receiver], desk: Callable[..., Desk]
    ) -> None:
        """The limits reach the library: a request ends by itself, nothing is left hanging."""
        slow = start_receiver()
        slow.answer = Answer.HANG
        limits = Limits(connect_s=1, read_s=0.2, channel_s=8, chain_s=9)
        opened = desk(first=[slow.url()], limits=limits)
        result = opened.sent(row())

        assert isinstance(result, Failed)
        assert not result.permanent
        assert not opened.dispatcher.health().contacts[0].channels[0].hanging

    def test_all_channels_failing_tells_what_each_said(
        self, start_receiver: Callable[[], Receiver], desk: Callable[..., Desk]
    ) -> None:
        """The status page can say why the phone stayed silent."""
        bad, dead = start_receiver(), start_receiver()
        bad.answer = Answer.REFUSE
        dead.close()
        result = desk(first=[bad.url(), dead.url()]).sent(row())

        assert isinstance(result, Failed)
        assert not result.permanent
        assert "error=500" in result.error
        assert result.error.count("json://…: ") == 2

    def test_optional_channel_failing_is_not_taken_for_delivered(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """An address marked optional must not swallow an alarm."""
        receiver.answer = Answer.REFUSE
        result = desk(first=[receiver.url(query="optional=yes")]).sent(row())

        assert isinstance(result, Failed)

    def test_channel_back_in_order_delivers_the_next_message(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """A failure leaves nothing behind that would spoil the next message."""
        opened = desk(first=[receiver.url()])
        receiver.answer = Answer.REFUSE
        assert isinstance(opened.sent(row(1)), Failed)
        receiver.answer = Answer.TAKE

        assert isinstance(opened.sent(row(1)), Delivered)
        assert isinstance(opened.sent(row(2)), Delivered)
        assert receiver.titles() == ["message 1", "message 2"]


class TestContactsApart:
    def test_hanging_services_of_others_do_not_delay_a_contact(
        self, start_receiver: Callable[[], Receiver], desk: Callable[..., Desk]
    ) -> None:
        """However many push services hang, the next person's phone rings."""
        stuck, good = start_receiver(), start_receiver()
        stuck.answer = Answer.HANG
        others = {f"other{n}": [stuck.url()] for n in range(40)}
        opened = desk(**others, good=[good.url()])
        for number, other in enumerate(others, start=100):
            assert opened.dispatcher.submit(row(number, other))
        stuck.wait_for_requests(40)

        assert isinstance(opened.sent(row(1, "good")), Delivered)
        assert [r.id for r in opened.results] == [1], "somebody who hangs had an end before"
        assert all(opened.dispatcher.in_flight(number) for number in range(100, 140))

    def test_urgent_message_overtakes_those_that_wait(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """An alarm does not queue behind the morning's news."""
        opened = desk(first=[receiver.url()])
        receiver.answer = Answer.HANG
        opened.dispatcher.submit(row(1, urgent=False))
        receiver.wait_for_requests(1)
        for number in (2, 3):
            opened.dispatcher.submit(row(number, urgent=False))
        opened.dispatcher.submit(row(4, urgent=True))
        receiver.answer = Answer.TAKE
        receiver.let_go()
        for number in (1, 2, 3, 4):
            opened.result_of(number)

        assert receiver.titles() == ["message 1", "message 4", "message 2", "message 3"]


class TestOnceAndAtLeastOnce:
    def test_row_in_flight_submitted_again_is_sent_once(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """Polling the outbox faster than a service answers rings nobody twice."""
        opened = desk(first=[receiver.url()])
        receiver.answer = Answer.HANG
        assert opened.dispatcher.submit(row())
        receiver.wait_for_requests(1)
        assert not opened.dispatcher.submit(row())
        health = opened.dispatcher.health().contacts[0]
        assert not health.channels[0].hanging, "its time is not up yet"
        receiver.let_go()
        opened.result_of(1)
        opened.sent(row(2))

        assert receiver.titles() == ["message 1", "message 2"]

    def test_row_stays_in_flight_until_its_result_is_taken(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """Between the delivery and its note in the outbox the row must not go out again."""
        opened = desk(first=[receiver.url()])
        assert opened.dispatcher.submit(row())
        assert opened.woken.wait(DEADLINE_S)

        assert opened.dispatcher.in_flight(1)
        assert not opened.dispatcher.submit(row())
        assert len(opened.dispatcher.take_results()) == 1
        assert not opened.dispatcher.in_flight(1)

    def test_delivered_row_submitted_again_answers_without_sending(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """A full disk that keeps the result from being noted does not ring the phone for ever."""
        opened = desk(first=[receiver.url()])
        first = opened.sent(row())

        assert opened.sent(row()) == first
        assert receiver.requests == 1

    def test_lost_reply_fails_and_is_sent_again(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """When nobody knows whether it arrived, it is sent again: rather twice than never."""
        opened = desk(first=[receiver.url()])
        receiver.answer = Answer.LOSE
        assert isinstance(opened.sent(row()), Failed)
        receiver.answer = Answer.TAKE

        assert isinstance(opened.sent(row()), Delivered)
        assert receiver.titles() == ["message 1", "message 1"]

    def test_late_answer_counts_and_the_message_is_not_repeated(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """A slow service that did take the message is not asked a second time."""
        opened = desk(first=[receiver.url()], limits=SHORT)
        receiver.answer = Answer.HANG
        result = opened.sent(row(1))
        assert isinstance(result, Failed)
        assert "no answer within" in result.error
        receiver.let_go()
        opened.until_answered()
        assert isinstance(opened.sent(row(2)), Delivered)

        assert isinstance(opened.sent(row(1)), Delivered)
        assert receiver.titles() == ["message 1", "message 2"]

    def test_message_tried_again_while_its_send_hangs_waits_for_that_send(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """The same message does not stand in a service's queue twice."""
        opened = desk(first=[receiver.url()], limits=SHORT)
        receiver.answer = Answer.HANG
        assert isinstance(opened.sent(row()), Failed)
        assert isinstance(opened.sent(row()), Failed)

        assert receiver.requests == 1

    def test_channel_that_hangs_on_is_begun_anew(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """A send that never ends must not make its address silent for ever."""
        limits = Limits(connect_s=8, read_s=8, channel_s=0.4, chain_s=2, stuck_s=0)
        opened = desk(first=[receiver.url()], limits=limits)
        receiver.answer = Answer.HANG
        assert isinstance(opened.sent(row(1)), Failed)
        receiver.answer = Answer.TAKE

        assert isinstance(opened.sent(row(2)), Delivered)
        assert receiver.titles() == ["message 1", "message 2"]

    def test_channel_that_hangs_fails_others_without_sending(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """Threads do not pile up behind a service that hangs."""
        opened = desk(first=[receiver.url()], limits=SHORT)
        receiver.answer = Answer.HANG
        assert isinstance(opened.sent(row(1)), Failed)
        result = opened.sent(row(2))

        assert isinstance(result, Failed)
        assert "still waits for the end of an earlier message" in result.error
        assert receiver.requests == 1


class TestStopping:
    def test_stop_with_hanging_channel_returns_within_its_grace(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """A dead push service does not hold up the service's end."""
        opened = desk(first=[receiver.url()], second=[receiver.url()])
        receiver.answer = Answer.HANG
        opened.dispatcher.submit(row(1, "first"))
        opened.dispatcher.submit(row(2, "second"))
        receiver.wait_for_requests(2)
        began_s = time.monotonic()
        ended = opened.dispatcher.stop(0.3)

        assert not ended
        assert time.monotonic() - began_s < 4.0
        assert opened.dispatcher.take_results() == []

    def test_stop_lets_the_message_in_hand_end_and_begins_no_other(
        self, receiver: Receiver, desk: Callable[..., Desk]
    ) -> None:
        """What was not begun stays due in the outbox, without a result."""
        opened = desk(first=[receiver.url()])
        receiver.answer = Answer.HANG
        opened.dispatcher.submit(row(1))
        opened.dispatcher.submit(row(2))
        receiver.wait_for_requests(1)
        stopped: list[bool] = []
        stopper = threading.Thread(
            target=lambda: stopped.append(opened.dispatcher.stop(DEADLINE_S))
        )
        stopper.start()
        opened.until(lambda: not opened.dispatcher.submit(row(3)), "the stop to have begun")
        receiver.let_go()
        stopper.join(DEADLINE_S)

        assert stopped == [True]
        assert [r.id for r in opened.results + opened.dispatcher.take_results()] == [1]
        assert receiver.titles() == ["message 1"]
        assert not opened.dispatcher.health().alive
