"""The set-up script says in one sentence what stands in its way, before it touches anything."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture
def elsewhere(tmp_path: Path) -> Path:
    """A project folder in which nothing was set up yet."""
    shutil.copytree(ROOT / "deploy", tmp_path / "deploy")
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def refusal(project: Path, *arguments: str, python: str = sys.executable) -> str:
    """The one sentence with which set-up refuses."""
    done = subprocess.run(
        ["bash", "deploy/setup.sh", *arguments],
        cwd=project,
        env=os.environ | {"PYTHON": python},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert not (project / ".venv").exists()
    return done.stderr


def script(path: Path, *lines: str) -> str:
    """A program that stands in for an interpreter which this computer does not have."""
    path.write_text("\n".join(["#!/bin/sh", *lines, ""]))
    path.chmod(0o755)
    return str(path)


def test_an_unknown_option_is_named(elsewhere: Path) -> None:
    assert "not '--tests'" in refusal(elsewhere, "--tests")


def test_a_missing_interpreter_is_told_with_the_version_needed(elsewhere: Path) -> None:
    assert "Python 3.11 or newer is needed" in refusal(elsewhere, python="python2.99")


def test_an_old_interpreter_is_told_too(elsewhere: Path) -> None:
    old = script(elsewhere / "old", f"exec {sys.executable} -c 'import sys; sys.exit((3, 10) < (3, 11))'")
    assert old in refusal(elsewhere, python=old)


def test_a_python_without_venv_is_told_with_the_package_to_install(elsewhere: Path) -> None:
    bare = script(elsewhere / "bare", 'case "$*" in *ensurepip*) exit 1 ;; esac', f'exec {sys.executable} "$@"')
    assert "apt-get install python3-venv" in refusal(elsewhere, python=bare)
