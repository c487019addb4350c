"""Failed sign-ins are counted for a quarter of an hour, in a table that does not grow."""

import pytest

from rimewatch.web.attempts import MOST_KEPT, OF_A_NAME, OF_AN_ADDRESS, WITHIN_S, Attempts


def fail(attempts: Attempts, times: int, *, at_s: float = 0.0, address: str = "10.0.0.9") -> None:
    """Fail for one name so often, at one instant."""
    for _ in range(times):
        attempts.failed("Ana", address, at_s)


def test_name_waits_to_the_end_of_the_quarter_hour_and_no_longer() -> None:
    """Ten failures spread over ten minutes: the first of them runs out first."""
    attempts = Attempts()
    for minute in range(OF_A_NAME):
        attempts.failed("Ana", f"10.0.0.{minute}", minute * 60.0)

    assert attempts.wait_s("ana ", "10.0.1.1", 600.0) == pytest.approx(WITHIN_S - 600.0)
    assert attempts.wait_s("Ana", "10.0.1.1", WITHIN_S - 1.0) == pytest.approx(1.0)
    assert attempts.wait_s("Ana", "10.0.1.1", WITHIN_S) == 0.0
    assert attempts.wait_s("Ben", "10.0.1.1", 600.0) == 0.0


def test_failure_after_the_wait_makes_wait_again_only_with_nine_others() -> None:
    """What ran out is forgotten, one by one."""
    attempts = Attempts()
    fail(attempts, OF_A_NAME)
    fail(attempts, OF_A_NAME - 1, at_s=WITHIN_S + 1.0)
    assert attempts.wait_s("Ana", "", WITHIN_S + 1.0) == 0.0

    attempts.failed("Ana", "", WITHIN_S + 2.0)
    assert attempts.wait_s("Ana", "", WITHIN_S + 2.0) == pytest.approx(WITHIN_S - 1.0)


def test_address_waits_after_thirty_failures_whatever_the_names() -> None:
    """And a proxy that does not say where visitors come from is no address."""
    attempts = Attempts()
    for number in range(OF_AN_ADDRESS):
        attempts.failed(f"name-{number}", "10.0.0.9", 0.0)
        attempts.failed(f"other-{number}", "", 0.0)

    assert attempts.wait_s("Ana", "10.0.0.9", 1.0) > 0.0
    assert attempts.wait_s("Ana", "10.0.0.8", 1.0) == 0.0
    assert attempts.wait_s("Ana", "", 1.0) == 0.0


def test_names_without_end_fill_no_memory_and_push_out_the_oldest() -> None:
    """A stranger who invents names or addresses makes the table no larger."""
    attempts = Attempts()
    fail(attempts, OF_A_NAME, address="")
    for number in range(3 * MOST_KEPT):
        attempts.failed(f"name-{number}", "", 1.0)

    assert len(attempts._failed) == MOST_KEPT
    assert attempts.wait_s("Ana", "", 2.0) == 0.0
    assert all(len(times) <= OF_AN_ADDRESS for times in attempts._failed.values())
