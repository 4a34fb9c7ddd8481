"""What is made once for all tests of a run, by whichever worker needs it first."""

import fcntl
import os
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory, mkdtemp

FOLDER = "COILBOOK_TESTS_MADE"
"""The variable that tells the workers of a run where it is."""


def keep_what_is_made() -> ExitStack:
    """Make the folder, unless the process that started this one has; it is gone when what is answered is closed."""
    stack = ExitStack()
    if FOLDER not in os.environ:
        os.environ[FOLDER] = stack.enter_context(
            TemporaryDirectory(prefix="coilbook-tests-", ignore_cleanup_errors=True)
        )
        stack.callback(os.environ.pop, FOLDER)
    return stack


def made_folder() -> Path:
    """Where it is kept; outside pytest a folder of this process."""
    if FOLDER not in os.environ:
        os.environ[FOLDER] = mkdtemp()
    return Path(os.environ[FOLDER])


def made_once(name: str, make: Callable[[Path], None]) -> Path:
    """The file of this name, which `make` writes; the others wait meanwhile. Make a copy to change it."""
    path = made_folder() / name
    with (made_folder() / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            part = path.with_name(f"part-{name}")
            make(part)
            part.replace(path)
    return path
