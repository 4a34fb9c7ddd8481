"""A fork server: starts Python processes without importing Coilbook again, in a fraction of the time.

One process that has imported everything waits for requests and forks for each. The new process has its own memory,
files and session and can be killed, like one that a shell starts. `tests/deploy` and `tests/web/test_request_log.py`
start theirs without it, as a user does.
"""

import gc
import json
import os
import resource
import runpy
import signal
import socket
import subprocess
import sys
from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import IO, Any

ROOT = Path(__file__).parents[2]
_LONGEST = 1 << 18
"""Bytes of a request: mostly the environment."""
_SHORT = 64
"""Bytes of a process's number or status."""


class ForkedPython:
    """What `python *words` does, in the root of the project; `words` begin with `-m MODULE` or `-c CODE`.

    With `pipes`, `communicate` gives its output and errors; else they are lost.
    """

    def __init__(self, *words: str, environ: Mapping[str, str], pipes: bool = False) -> None:
        asked = {
            "words": words,
            "environ": dict(environ),
            "files": resource.getrlimit(resource.RLIMIT_NOFILE),
        }
        self._told, theirs = _pair()
        ends = [os.pipe() for _ in range(2)] if pipes else []
        given = [write for _, write in ends] or [os.open(os.devnull, os.O_WRONLY) for _ in range(2)]
        socket.send_fds(_fork_server()[0], [json.dumps(asked).encode()], [theirs.fileno(), *given])
        theirs.close()
        for file in given:
            os.close(file)
        self._heard: list[IO[str]] = [os.fdopen(read) for read, _ in ends]
        self.pid = int(self._told.recv(_SHORT))
        self.returncode: int | None = None

    def read_error(self) -> str:
        """The next line of its standard error."""
        return self._heard[1].readline()

    def communicate(self) -> tuple[str, str]:
        """What else it says until it has ended: its standard output and its standard error."""
        out, err = self._heard
        with out, err:
            said = out.read(), err.read()
        self.wait()
        return said

    def wait(self, timeout: float | None = None) -> int:
        """Its status once it has ended, negative for the signal that killed it.

        Raises:
            TimeoutError: it has not ended within `timeout` seconds.
        """
        if self.returncode is None:
            self._told.settimeout(timeout)
            status = self._told.recv(_SHORT)
            self._told.close()
            self.returncode = os.waitstatus_to_exitcode(int(status))
        return self.returncode

    def poll(self) -> int | None:
        """Its status, or None while it runs."""
        try:
            return self.wait(0)
        except BlockingIOError:
            return None

    def send_signal(self, number: int) -> None:
        """Send it a signal, unless it has ended."""
        if self.poll() is None:
            os.kill(self.pid, number)


def _pair() -> tuple[socket.socket, socket.socket]:
    """Two ends that pass whole messages, and tell when the other end is gone."""
    return socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)


@cache
def _fork_server() -> tuple[socket.socket, subprocess.Popen[bytes]]:
    """The socket that requests processes, and the fork server, which ends with this process."""
    ours, theirs = _pair()
    command = [sys.executable, "-m", "tests.support.forked", str(theirs.fileno())]
    server = subprocess.Popen(command, cwd=ROOT, pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL)
    theirs.close()
    return ours, server


def _asked_for(requests: socket.socket) -> dict[str, Any]:
    """Fork for every request, and return it in the new process only. Exits when the requesting end is closed."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # those that wait for a process are not waited for
    while True:
        message, files, _, _ = socket.recv_fds(requests, _LONGEST, 3)
        if not message:
            sys.exit()
        if not os.fork():
            break
        for file in files:
            os.close(file)
    requests.close()
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    told, out, err = files
    if pid := os.fork():
        os.close(out)
        os.close(err)
        os.write(told, f"{pid}\n".encode())
        status = os.waitpid(pid, 0)[1]
        with suppress(BrokenPipeError):  # nobody wants to know any more
            os.write(told, str(status).encode())
        os._exit(0)
    os.close(told)
    os.setsid()
    os.dup2(out, 1)
    os.dup2(err, 2)
    os.close(out)
    os.close(err)
    asked: dict[str, Any] = json.loads(message)
    return asked


def _run(words: list[str], environ: dict[str, str], files: tuple[int, int]) -> None:
    """Run `-m MODULE` or `-c CODE`, as the interpreter does."""
    resource.setrlimit(resource.RLIMIT_NOFILE, files)
    os.environ.clear()
    os.environ.update(environ)
    option, what, *rest = words
    sys.argv = [option, *rest]
    if option == "-m":
        runpy.run_module(what, run_name="__main__", alter_sys=True)
    else:
        exec(what, {"__name__": "__main__"})


if __name__ == "__main__":
    import service.serving  # noqa: F401 (with it comes what all commands import)

    gc.collect()
    gc.freeze()
    _run(**_asked_for(socket.socket(fileno=int(sys.argv[1]))))
