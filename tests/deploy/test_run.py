"""The script of the first evening: with the demo to look around in, or empty for a program of one's own."""

import shutil
import subprocess
from pathlib import Path

import pytest

DEPLOY = Path(__file__).parents[2] / "deploy"
SAYS_WHAT_IT_IS_GIVEN = '#!/bin/sh\necho "$@"\n'


@pytest.fixture
def elsewhere(tmp_path: Path) -> Path:
    """The script, with a set-up that does nothing and a command that says what it was given."""
    for folder in ("deploy", ".venv/bin", "data"):
        (tmp_path / folder).mkdir(parents=True)
    shutil.copy(DEPLOY / "run.sh", tmp_path / "deploy")
    (tmp_path / "deploy/setup.sh").touch()
    command = tmp_path / ".venv/bin/coilbook"
    command.write_text(SAYS_WHAT_IT_IS_GIVEN)
    command.chmod(0o755)
    return tmp_path


def ran(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """What the script does."""
    return subprocess.run(["bash", "deploy/run.sh", *words], cwd=folder, capture_output=True, text=True, check=False)


def test_it_starts_with_the_demo_or_empty(elsewhere: Path) -> None:
    serve = "serve --host 0.0.0.0 --port 8000"
    assert ran(elsewhere).stdout.splitlines() == ["migrate", "demo", serve]
    assert ran(elsewhere, "--empty").stdout.splitlines() == ["migrate", serve]


def test_it_says_when_there_is_a_program_already(elsewhere: Path) -> None:
    (elsewhere / "data/coilbook.db").touch()
    said, *rest = ran(elsewhere, "--empty").stdout.splitlines()
    assert "mv data data-demo" in said
    assert rest[0] == "migrate"
    assert ran(elsewhere).stdout.splitlines()[0] == "migrate"


def test_it_knows_no_other_word(elsewhere: Path) -> None:
    done = ran(elsewhere, "--demo")
    assert (done.returncode, done.stdout) == (1, "")
    assert "--empty, not '--demo'" in done.stderr
