"""Work done in another process beside this one.

A task is a function of a module with its arguments, both of which can be pickled. What the other
process does not finish, for whatever reason, is done here, so that results are complete, and the
same, wherever no other process can start.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

COMMAND = (
    "import sys; sys.path.insert(0, sys.argv[1]); "
    "from panelcp.report.beside import do_tasks; do_tasks(sys.argv[2])"
)
_UNPICKLED = (OSError, pickle.PicklingError, TypeError, AttributeError)


def processors() -> int:
    """How many processors this process may use."""
    can_ask = hasattr(os, "sched_getaffinity")
    return len(os.sched_getaffinity(0)) if can_ask else os.cpu_count() or 1


class Beside:
    """A process that does one task after another in the order in which they were started.

    Parameters
    ----------
    folder : of the tasks and their results, of this process alone; None does all work here
    """

    def __init__(self, folder: Path | None):
        self._folder, self._process = folder, None
        self._count, self._done = 0, 0
        if folder is not None:
            with suppress(OSError):
                self._process = _started(folder)

    def start(self, function: Callable, *arguments) -> Task:
        """Begin a task.

        Parameters
        ----------
        function : of a module, so that it is found by its name; it prints nothing
        arguments : copied into the other process; what it changes in them is not seen here
        """
        number = None
        if self._process is not None:
            with suppress(*_UNPICKLED):
                with (self._folder / f"{self._count + 1}.task").open("wb") as file:
                    pickle.dump((function, arguments), file, pickle.HIGHEST_PROTOCOL)
                self._process.stdin.write(b"next\n")
                self._process.stdin.flush()
                self._count += 1
                number = self._count
        return Task(self, number, function, arguments)

    def found(self, number: int):
        """What a task gave, as a tuple of one; nothing where it was not finished."""
        while self._done < number and self._process.stdout.readline():
            self._done += 1
        if self._done < number:
            return ()
        with (self._folder / f"{number}.result").open("rb") as file:
            return (pickle.load(file),)

    def end(self):
        """End the process, whatever it does."""
        if self._process is not None:
            self._process.kill()
            with suppress(OSError):
                self._process.communicate()


class Task:
    """Work that was begun, see `Beside.start`."""

    def __init__(self, other: Beside, number: int | None, function: Callable, arguments: tuple):
        self._other, self._number = other, number
        self._function, self._arguments = function, arguments

    def result(self):
        """Wait for what the function gives; where the other process fails it is called here.

        Raises
        ------
        what the function raises
        """
        found = () if self._number is None else self._other.found(self._number)
        return found[0] if found else self._function(*self._arguments)


@contextmanager
def beside(wanted: bool = True) -> Iterator[Beside]:
    """Another process, which ends with it at the latest.

    Parameters
    ----------
    wanted : False does all work in this process, when its result is asked for
    """
    if not wanted:
        yield Beside(None)
        return
    with tempfile.TemporaryDirectory(prefix="panelcp-", ignore_cleanup_errors=True) as folder:
        other = Beside(Path(folder))
        try:
            yield other
        finally:
            other.end()


def do_tasks(folder: str):
    """Do the tasks of a folder, one for every line that comes in; a line goes out for each."""
    for number, _ in enumerate(sys.stdin.buffer, start=1):
        path = Path(folder) / f"{number}.task"
        with path.open("rb") as file:
            function, arguments = pickle.load(file)
        path.unlink()
        result = function(*arguments)
        with path.with_suffix(".result").open("wb") as file:
            pickle.dump(result, file, pickle.HIGHEST_PROTOCOL)
        sys.stdout.write("done\n")
        sys.stdout.flush()


def _started(folder: Path) -> subprocess.Popen:
    """Another process that waits for tasks.

    Not by `multiprocessing`: that would run a user's script once more, which may have no guard
    against it.
    """
    root = str(Path(__file__).parents[2])
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.DEVNULL}
    return subprocess.Popen([sys.executable, "-P", "-c", COMMAND, root, str(folder)], **pipes)
