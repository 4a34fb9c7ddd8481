"""The offline tables over the API: which there are, and that they are fetched once."""

import gzip
import json

from service.testlog.phone_tables import fault_tables
from service.wiring.builtin import BUILTIN
from tests.support.program import Running
from tests.testlog.support import bench


def test_the_wirings_in_use_are_listed_and_those_they_are_tested_by(program: Running) -> None:
    bench(program, "xlr3", "d25-to-xlr8")
    listed = program.crew.get("/api/v1/wirings").json()["items"]
    assert [each["key"] for each in listed] == ["d25-to-xlr8", "xlr3", "xlr3x8"]
    assert listed[1] == {
        "key": "xlr3",
        "name": "Three-contact audio (XLR)",
        "contacts": 8,
        "conductors": 3,
        "lanes": 0,
        "table": "/api/v1/wirings/xlr3",
    }
    assert all(program.crew.get(each["table"]).status_code == 200 for each in listed)


def test_a_table_is_what_the_pure_part_makes_packed_or_not(program: Running) -> None:
    packed = program.crew.get("/api/v1/wirings/8p8c", headers={"Accept-Encoding": "gzip"})
    plain = program.crew.get("/api/v1/wirings/8p8c", headers={"Accept-Encoding": "identity"})
    assert packed.headers["content-encoding"] == "gzip"
    assert "content-encoding" not in plain.headers
    assert packed.json() == plain.json() == {"key": "8p8c"} | json.loads(json.dumps(fault_tables(BUILTIN["8p8c"])))
    assert int(packed.headers["content-length"]) < len(gzip.compress(plain.content)) + 100


def test_a_phone_that_has_it_is_told_so_in_one_line(program: Running) -> None:
    first = program.crew.get("/api/v1/wirings/8p8c")
    tag = first.headers["etag"]
    again = program.crew.get("/api/v1/wirings/8p8c", headers={"If-None-Match": f'W/"older", {tag}'})
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert program.crew.get("/api/v1/wirings/8p8c", headers={"If-None-Match": 'W/"older"'}).status_code == 200


def test_a_wiring_that_is_none_is_told(program: Running) -> None:
    answer = program.crew.get("/api/v1/wirings/xlr5")
    assert answer.status_code == 404
    assert "xlr5" in answer.json()["detail"]


def test_only_the_crew_fetches_them(program: Running) -> None:
    assert program.viewer.get("/api/v1/wirings").status_code == 403
    assert program.stranger.get("/api/v1/wirings/xlr3").status_code == 401
