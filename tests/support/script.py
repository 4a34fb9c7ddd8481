"""Running our JavaScript without a page and a browser: in Deno, which is one of the test packages."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from service.web.static import STATIC

DENO = Path(sys.prefix) / "bin" / "deno"


def module(path: str) -> str:
    """The address from which a script imports one of our modules, given by its path under `static`."""
    return (STATIC / path).resolve(strict=True).as_uri()


def run(function: str, argument: object) -> Any:
    """The result of a JavaScript function, given as its text, for an argument; both are passed as JSON.

    It can read `static`, and nothing else of this computer or the network.

    Raises:
        AssertionError: the function threw; it has the engine's output.
    """
    program = f"console.log(JSON.stringify(await ({function})({json.dumps(argument)})) ?? 'null');"
    done = subprocess.run(
        [DENO, "run", "--quiet", "--no-config", "--no-remote", f"--allow-read={STATIC}", "-"],
        input=program,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)
