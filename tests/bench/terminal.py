"""Running a command in a real pseudo-terminal and timing what it paints."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import select
import signal
import struct
import termios
import time
from collections.abc import Mapping, Sequence


class Terminal:
    """A child process on a pseudo-terminal of a given size."""

    def __init__(self, command: Sequence[str], env: Mapping[str, str], columns: int = 120, rows: int = 40) -> None:
        self.started = time.perf_counter()
        self.output = b""
        self._pid, self._fd = pty.fork()
        if self._pid == 0:
            os.execvpe(command[0], list(command), dict(env))  # the child ends here
        fcntl.ioctl(self._fd, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def wait_for(self, text: bytes, timeout: float = 60.0) -> float:
        """Seconds from the start (or the last `mark`) until `text` was painted; raises `TimeoutError`."""
        end = time.perf_counter() + timeout
        while text not in self.output:
            left = end - time.perf_counter()
            if left <= 0 or not select.select([self._fd], [], [], left)[0]:
                raise TimeoutError(f"{text!r} was not painted; the end of what was: {self.output[-500:]!r}")
            try:
                self.output += os.read(self._fd, 65536)
            except OSError:
                raise TimeoutError(f"the program ended: {self.output[-800:]!r}") from None
        return time.perf_counter() - self.started

    def first_output(self, timeout: float = 5.0) -> float:
        """Seconds from the last `mark` until anything was painted."""
        if not select.select([self._fd], [], [], timeout)[0]:
            raise TimeoutError("nothing was painted")
        self.output += os.read(self._fd, 65536)
        return time.perf_counter() - self.started

    def mark(self) -> None:
        """Forget what was painted and start the clock anew."""
        self.output = b""
        self.started = time.perf_counter()

    def press(self, keys: bytes) -> None:
        os.write(self._fd, keys)

    def drain(self, quiet: float = 0.3) -> None:
        """Read until nothing has been painted for `quiet` seconds."""
        while select.select([self._fd], [], [], quiet)[0]:
            try:
                self.output += os.read(self._fd, 65536)
            except OSError:
                return

    def memory(self) -> int:
        """Resident memory in KiB."""
        with open(f"/proc/{self._pid}/status", encoding="ascii") as status:  # noqa: PTH123  procfs, not a file of ours
            return next(int(line.split()[1]) for line in status if line.startswith("VmRSS"))

    def close(self) -> None:
        with contextlib.suppress(OSError):
            os.kill(self._pid, signal.SIGKILL)
        with contextlib.suppress(OSError):
            os.waitpid(self._pid, 0)
        with contextlib.suppress(OSError):
            os.close(self._fd)

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
