"""Long work can be watched, and stopped with what it has."""

from __future__ import annotations

import os
import signal
import threading

import pytest

from palletwright.progress import Progress, Stop, interruptible


def test_steps_report_before_the_first_and_after_each() -> None:
    heard: list[tuple[str, float, float]] = []
    progress = Progress(lambda *what: heard.append(what))
    assert list(progress.steps("pack", "ab")) == ["a", "b"]
    assert heard == [("pack", 0, 2), ("pack", 1, 2), ("pack", 2, 2)]


def test_stopped_work_ends_with_what_it_has() -> None:
    progress = Progress()
    done = []
    for step in progress.steps("pack", range(10)):
        done.append(step)
        if step == 3:
            progress.stop.set()
    assert done == [0, 1, 2, 3]
    assert progress.stopped


def test_each_progress_has_its_own_stop() -> None:
    first, second = Progress(), Progress()
    first.stop.set()
    assert not second.stopped


def test_a_clock_limit_stops() -> None:
    assert Stop(0.0).stopped
    assert Stop(0.0).seconds_left == 0.0
    assert not Stop(3600.0).stopped
    assert 3590 < (Stop(3600.0).seconds_left or 0) <= 3600
    assert Stop().seconds_left is None
    with pytest.raises(ValueError, match="at least 0"):
        Stop(-1.0)


def test_a_first_interrupt_stops_softly_and_a_second_breaks_off() -> None:
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt), interruptible() as progress:  # noqa: PT012
        assert not progress.stopped
        os.kill(os.getpid(), signal.SIGINT)
        assert progress.stopped
        os.kill(os.getpid(), signal.SIGINT)
        pytest.fail("the second interrupt must break off")
    assert signal.getsignal(signal.SIGINT) is before


def test_another_thread_can_work_too() -> None:
    stopped: list[bool] = []

    def work() -> None:
        with interruptible(seconds=0.0) as progress:
            stopped.append(progress.stopped)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert stopped == [True]
