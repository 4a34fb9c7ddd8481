"""Files that are made once for all tests of a run, by the first worker that needs them."""

import fcntl
import os
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory, mkdtemp

FOLDER = "COILBOOK_TESTS_MADE"
"""The environment variable with the path of the folder, for the workers of a run."""


def keep_what_is_made() -> ExitStack:
    """Make the folder, unless the parent process has made it. Closing the result deletes it."""
    stack = ExitStack()
    if FOLDER not in os.environ:
        os.environ[FOLDER] = stack.enter_context(
            TemporaryDirectory(prefix="coilbook-tests-", ignore_cleanup_errors=True)
        )
        stack.callback(os.environ.pop, FOLDER)
    return stack


def made_folder() -> Path:
    """The path of the folder; outside pytest, a folder of this process."""
    if FOLDER not in os.environ:
        os.environ[FOLDER] = mkdtemp()
    return Path(os.environ[FOLDER])


def made_once(name: str, make: Callable[[Path], None]) -> Path:
    """The file of this name, which `make` writes once while other workers wait. Copy it before changing it."""
    path = made_folder() / name
    with (made_folder() / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            part = path.with_name(f"part-{name}")
            make(part)
            part.replace(path)
    return path
