"""Standard output and error that can be written to, whatever they are.

A stream that is missing, full, closed by its reader, or of a narrow character set must neither end a command in a
traceback nor change what it answers: its exit code is its own.
"""

from __future__ import annotations

import contextlib
import io
import os
import select
import sys
from typing import Any


class _Calm(io.TextIOWrapper):
    """A text stream that does not raise when it cannot be written, and remembers why. An answer (`whole`) is given up
    then; a log goes on trying, for a disk may get room again."""

    failed: OSError | None = None
    whole = True

    def write(self, text: str, /) -> int:
        return self._tried(super().write, text) or len(text)

    def flush(self) -> None:
        self._tried(super().flush)

    def _tried(self, call: Any, *given: Any) -> Any:
        if self.failed is not None and self.whole:
            return None
        try:
            return call(*given)
        except OSError as why:
            self.failed = why
            return None


def _nowhere() -> int:
    return os.open(os.devnull, os.O_WRONLY)


def _to_nowhere(number: int) -> io.TextIOWrapper:
    """A stream for this number that takes everything and keeps nothing."""
    with contextlib.suppress(OSError):
        if (fd := _nowhere()) != number:
            os.dup2(fd, number)
    return io.TextIOWrapper(io.FileIO(number, "w"), encoding="utf-8", errors="replace")


def make_ready() -> None:
    """Put calm streams in the place of the process's own. Those that a test has put there stay."""
    for number, name in ((1, "stdout"), (2, "stderr")):
        stream = getattr(sys, name)
        if stream is None:  # closed before the start: the number is free, and must not become a file of ours
            setattr(sys, name, _to_nowhere(number))
        elif stream is getattr(sys, f"__{name}__") and isinstance(stream, io.TextIOWrapper):
            tty, encoding = stream.isatty(), stream.encoding
            calm = _Calm(stream.detach(), encoding=encoding, errors="replace", line_buffering=tty or number == 2)
            calm.whole = number == 1
            setattr(sys, name, calm)
            setattr(sys, f"__{name}__", calm)


def gone() -> bool:
    """Does nothing that is printed arrive any more? Who shows something until it is ended ends then."""
    if getattr(sys.stdout, "failed", None) is not None:
        return True
    with contextlib.suppress(OSError, ValueError):  # a reader that has left is seen before the next line is written
        look = select.poll()
        look.register(sys.stdout.fileno(), 0)
        return any(event & select.POLLERR for _, event in look.poll(0))
    return False


def settle() -> str:
    """Write what is left. Why did the answer not arrive? Nothing where it did, or its reader has left."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError):
            stream.flush()
        if getattr(stream, "failed", None) is not None:
            with contextlib.suppress(OSError, ValueError):
                os.dup2(_nowhere(), stream.fileno())  # for what is still in its buffer when the process ends
    failed = getattr(sys.stdout, "failed", None)
    return "" if failed is None or isinstance(failed, BrokenPipeError) else str(failed.strerror)
