"""Work done in another process: the same results, also where that process fails."""

import math
import os
import time

import pytest

from panelcp.report import beside as module
from panelcp.report.beside import beside, processors


def own_process(first, second):
    """The process that this runs in, and both arguments added."""
    return os.getpid(), first + second


def ended_unless(process: int) -> int:
    """End every process but one, without a word."""
    if os.getpid() != process:
        os._exit(1)
    return process


def negative_root(value: float) -> float:
    if value < 0.0:
        raise ValueError("math domain error")
    return -math.sqrt(value)


@pytest.fixture(autouse=True)
def tests_are_found(monkeypatch):
    """The other process finds the functions of this file."""
    found = f"import sys; sys.path.insert(0, {os.getcwd()!r}); "
    monkeypatch.setattr(module, "COMMAND", found + module.COMMAND)


def test_tasks_run_in_one_other_process_whatever_the_order_they_are_asked_for():
    with beside() as other:
        first, second = other.start(own_process, 1, 2), other.start(own_process, [3], [4])
        there, found = second.result()
        assert found == [3, 4]
        assert first.result() == (there, 3)
        assert there != os.getpid()
    with pytest.raises(ProcessLookupError):
        os.kill(there, 0)


def test_all_is_done_here_where_no_other_process_is_wanted():
    with beside(False) as other:
        assert other.start(own_process, 1, 2).result() == (os.getpid(), 3)


def test_what_another_process_does_not_finish_is_done_here():
    with beside() as other:
        broken, after = other.start(ended_unless, os.getpid()), other.start(own_process, 1, 2)
        assert broken.result() == os.getpid()
        assert after.result() == (os.getpid(), 3)
        assert other.start(own_process, 3, 4).result() == (os.getpid(), 7)


def test_a_mistake_is_told_as_if_it_were_made_here():
    with beside() as other:
        task = other.start(negative_root, -1.0)
        with pytest.raises(ValueError, match="math domain error"):
            task.result()


def test_all_is_done_here_where_no_other_process_can_start(monkeypatch):
    monkeypatch.setattr(module.sys, "executable", "/nowhere/python")
    with beside() as other:
        assert other.start(own_process, 1, 2).result() == (os.getpid(), 3)


def test_what_cannot_be_copied_is_done_here():
    with beside() as other:
        assert other.start(lambda: os.getpid()).result() == os.getpid()
        there, found = other.start(own_process, 1, 2).result()
        assert found == 3
        assert there != os.getpid()


def test_the_process_ends_at_once_where_this_one_goes_wrong():
    begin = time.monotonic()

    def go_wrong():
        with beside() as other:
            other.start(time.sleep, 60.0)
            raise KeyError("here")

    with pytest.raises(KeyError):
        go_wrong()
    assert time.monotonic() - begin < 30.0


def test_this_process_may_use_a_processor():
    assert 1 <= processors() <= (os.cpu_count() or 1)
