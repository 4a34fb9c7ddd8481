"""C9: the restore drill brings a backup back to a running service, and says so of none that it could not."""

import os
import shutil
import socket
import subprocess
from datetime import UTC, datetime
from pathlib import Path

from service.store.backup import back_up
from service.store.sessions import Store
from tests.support.demo import demo_file
from tests.support.program import tables_folder

ROOT = Path(__file__).parents[2]


def drill(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = str(one.getsockname()[1])
    environ = os.environ | {"COILBOOK_BACKUPS": str(folder), "COILBOOK_TABLES": str(tables_folder()), "PORT": port}
    return subprocess.run(
        ["bash", "deploy/drill.sh", *words],
        cwd=ROOT,
        env=environ,
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_backup_is_drilled_and_a_damaged_one_is_told(tmp_path: Path) -> None:
    folder = tmp_path / "backups"
    assert "no backup" in drill(folder).stderr
    shutil.copy(demo_file(), tmp_path / "program.db")
    store = Store(f"sqlite:///{tmp_path}/program.db")
    good = back_up(store, folder, datetime.now(UTC)).path
    store.close()
    done = drill(folder)
    assert done.returncode == 0, done.stderr
    assert "the service is ready on it" in done.stdout
    bad = tmp_path / "bad.db"
    bad.write_bytes(good.read_bytes()[:-50_000])
    damaged = drill(folder, str(bad))
    assert damaged.returncode == 1
    assert str(bad) in damaged.stderr
    assert "ready" not in damaged.stdout
