"""The offline tables on disk: ready before they are asked for, and what working them out anew would give."""

import fcntl
import gzip
import json
import os
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait
from multiprocessing import active_children
from pathlib import Path
from uuid import uuid4

import pytest

from service.kit.problems import Busy
from service.testers.tables import Tables, in_use, version, worked_out, write_missing
from service.testlog.phone_tables import fault_tables
from service.wiring.builtin import BUILTIN
from service.wiring.own import parse_wiring
from tests.support.program import Running, op, running
from tests.testlog.support import bench

KEY = "8p8c"
WIRING = BUILTIN[KEY]


def files(folder: Path) -> list[str]:
    """The tables in a folder."""
    return sorted(path.name for path in folder.glob("*.json.gz"))


def test_what_is_kept_is_byte_for_byte_what_is_worked_out(tmp_path: Path) -> None:
    first = Tables(tmp_path).packed(KEY, WIRING)
    (kept,) = tmp_path.glob("*.json.gz")
    assert first == kept.read_bytes() == worked_out(KEY, WIRING)
    assert json.loads(gzip.decompress(first)) == {"key": KEY} | json.loads(json.dumps(fault_tables(WIRING)))


def test_after_a_start_it_is_read_and_not_worked_out_again(tmp_path: Path) -> None:
    Tables(tmp_path).packed(KEY, WIRING)
    (kept,) = tmp_path.glob("*.json.gz")
    kept.write_bytes(b"as it was kept")
    assert Tables(tmp_path).packed(KEY, WIRING) == b"as it was kept"


def test_an_older_version_gives_way_and_other_wirings_stay(tmp_path: Path) -> None:
    older, other = f"{KEY}-{'0' * 20}.json.gz", f"{KEY}-screened-{'0' * 20}.json.gz"
    for name in (older, other):
        (tmp_path / name).write_bytes(b"")
    Tables(tmp_path).packed(KEY, WIRING)
    assert files(tmp_path) == sorted([f"{KEY}-{version(KEY, WIRING)}.json.gz", other])


def test_a_wiring_of_the_same_key_that_is_another_has_another_version() -> None:
    spec = {
        "ends": {"A": ["1"], "B": ["1", "2"]},
        "conductors": [{"name": "1", "a": "A1", "b": "B1", "role": "single"}],
    }
    other = spec | {"conductors": [{"name": "1", "a": "A1", "b": "B2", "role": "single"}]}
    assert version("own", parse_wiring(spec)) != version("own", parse_wiring(other))
    assert version("own", parse_wiring(spec)) == version("own", parse_wiring(spec))


def test_one_request_waits_for_a_table_and_the_next_comes_again(tmp_path: Path) -> None:
    tables = Tables(tmp_path)
    lock = os.open(tmp_path / ".lock", os.O_CREAT | os.O_RDWR)
    with ThreadPoolExecutor(2) as phones:
        fcntl.flock(lock, fcntl.LOCK_EX)  # as a process that works another table out
        asked = [phones.submit(tables.packed, KEY, WIRING) for _ in range(2)]
        (told,), (waits,) = wait(asked, return_when=FIRST_COMPLETED)
        with pytest.raises(Busy, match="being worked out"):
            told.result()
        assert files(tmp_path) == []
        os.close(lock)
        assert waits.result() == worked_out(KEY, WIRING)


def test_a_folder_that_takes_nothing_costs_no_answer(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    (tmp_path / "file").write_text("")
    assert Tables(tmp_path / "file").packed(KEY, WIRING) == worked_out(KEY, WIRING)
    assert "could not be kept" in caplog.text


def test_a_process_of_its_own_makes_those_that_are_missing(tmp_path: Path) -> None:
    names = [KEY, "8p8c-screened"]
    Tables(tmp_path).packed(KEY, WIRING)
    Tables(tmp_path).make_ahead((name, BUILTIN[name]) for name in names)
    for process in active_children():
        process.join()
        assert process.exitcode == 0
    assert files(tmp_path) == sorted(f"{name}-{version(name, BUILTIN[name])}.json.gz" for name in names)


def test_opening_a_session_makes_those_of_its_worklist(sqlite_url: str, tmp_path: Path) -> None:
    folder = tmp_path / "tables"
    with running(sqlite_url, tables=folder) as program:
        bench(program, "8p8c", "8p8c-screened")
        form = {"op": op(), "title": "Tuesday", "on": "2026-09-21", "why": "untested", "kind": "test"}
        assert program.lead.post("/sessions", data=form).status_code == 303
        for process in active_children():
            process.join()
        made = files(folder)
        assert [name.rpartition("-")[0] for name in made] == ["8p8c", "8p8c-screened"]
        (folder / made[0]).write_bytes(gzip.compress(b'"kept"'))
        assert program.crew.get("/api/v1/wirings/8p8c").json() == "kept"


def test_the_service_makes_ahead_those_of_the_gear_here(program: Running) -> None:
    bench(program, "xlr3x4", "trs")
    with program.store.reading() as db:
        named = in_use(db)
    assert named == [(key, BUILTIN[key]) for key in ("trs", "xlr3x4")]


def test_nothing_is_made_where_nothing_is_missing(tmp_path: Path) -> None:
    write_missing(tmp_path, [(KEY, WIRING)])
    before = active_children()
    Tables(tmp_path).make_ahead([(KEY, WIRING)])
    assert active_children() == before


def test_a_phone_knows_by_the_worklist_whether_its_table_is_the_newest(program: Running) -> None:
    at = bench(program, KEY)
    form = {"op": str(uuid4()), "title": "", "on": "2026-09-21", "why": "untested", "kind": "test"}
    session = program.lead.post("/sessions", data=form).headers["location"]
    for process in active_children():
        process.join()
    package = program.crew.get(f"/api/v1{session}/package").json()
    told = package["wirings"][KEY]
    answer = program.crew.get(told["table"])
    assert told["version"] == version(KEY, WIRING)
    assert answer.headers["etag"] == f'W/"{told["version"]}"'
    assert package["lines"][0]["code"] == at.codes[0]
