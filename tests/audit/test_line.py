"""Whoever came first writes first; one who waits too long leaves the line without holding up the others."""

from __future__ import annotations

import threading
import time

import pytest

from regenplant.audit.line import Line


def wait_until(line: Line, count: int) -> None:
    """Until so many stand in line behind the one whose turn it is."""
    deadline = time.monotonic() + 10
    while len(line._waiting) != count:
        assert time.monotonic() < deadline, f"{len(line._waiting)} stand in line, expected {count}"
        time.sleep(0.001)


def test_the_turn_goes_on_in_the_order_in_which_it_was_asked_for() -> None:
    line, order, threads = Line(), [], []

    def work(number: int) -> None:
        with line.stand(30):
            order.append(number)

    with line.stand(30):
        for number in range(12):
            thread = threading.Thread(target=work, args=(number,))
            thread.start()
            threads.append(thread)
            wait_until(line, number + 1)
        assert order == []
    for thread in threads:
        thread.join(30)
    assert order == list(range(12))
    with line.stand(0.01):
        assert not line._waiting


def test_one_who_waits_too_long_leaves_and_the_next_is_not_held_up() -> None:
    line, said = Line(), []

    def impatient() -> None:
        with pytest.raises(TimeoutError, match=r"0\.05 s"), line.stand(0.05):
            said.append("never")

    def patient() -> None:
        with line.stand(30):
            said.append("patient")

    with line.stand(30):
        first, second = threading.Thread(target=impatient), threading.Thread(target=patient)
        first.start()
        wait_until(line, 1)
        second.start()
        first.join(30)
        wait_until(line, 1)
    second.join(30)
    assert said == ["patient"]


def test_who_fails_hands_the_turn_on() -> None:
    line = Line()
    with pytest.raises(ValueError, match="fails"), line.stand(1):
        raise ValueError("fails")
    with line.stand(0.01):
        pass


def test_many_at_once_are_never_two_at_a_time_and_none_is_forgotten() -> None:
    line, inside, most, done = Line(), 0, 0, 0

    def work() -> None:
        nonlocal inside, most, done
        for _ in range(200):
            with line.stand(60):
                inside += 1
                most = max(most, inside)
                done += 1
                inside -= 1

    threads = [threading.Thread(target=work) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert (most, done) == (1, 3200)
