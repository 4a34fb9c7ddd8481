"""Spares that would fit but are not proven: pull list and swap name the same ones, and say: test it first."""

import csv
from datetime import date
from uuid import UUID

from tests.home.support import truck
from tests.support.program import Running, op
from tests.testlog.support import OPEN_2


def test_pull_list_and_swap_agree_on_what_is_not_proven(program: Running) -> None:
    at = truck(
        program,
        ("broken", "Frame 1", 15),
        ("raw spare", "Spares Case", 15),
        ("short", "Spares Case", 10),
        ("crackling", "Spares Case", 25),
    )
    broken, raw = at.tags["broken"], at.tags["raw spare"]
    at.test(broken, OPEN_2)
    at.suspect("crackling", "crackled at the show")
    event = at.event("Lantern Field", date(2026, 10, 3))
    [line] = program.viewer.get("/api/v1/pull").json()["items"]
    assert (line["spare"], line["unproven"]) == (None, [{"code": raw, "place": "Spares Case", "length_mm": 4572}])
    crew = program.crew
    for path in (f"/pull/{event}", f"/pull/{event}/items/{broken}"):
        page = crew.get(path).text
        assert "No proven spare fits." in page
        assert "test it first" in page
        assert raw[:3] in page
        assert at.tags["short"][:3] + "</span>" not in page
        assert "Keep it as it is" not in page  # it failed
    swap = crew.get("/swap", params={"bad": broken}).text
    assert f'name="spare" value="{raw}"' in swap
    assert "Not proven: <b>test it first</b>" in swap
    at.test(raw)
    [line] = program.viewer.get("/api/v1/pull").json()["items"]
    assert (line["spare"], line["spare_place"], line["unproven"]) == (raw, "Spares Case", [])
    assert "Not proven" not in crew.get("/swap", params={"bad": broken}).text


def told(program: Running, event: UUID) -> dict[str, str]:
    """The only row of a list as CSV."""
    [row] = csv.DictReader(program.viewer.get(f"/pull/{event}/list.csv").text.splitlines())
    return row


def test_paper_and_csv_say_where_the_spare_lies(program: Running) -> None:
    at = truck(program, ("broken", "Frame 1", 15), ("spare", "Spares Case", 15))
    broken, spare = at.tags["broken"], at.tags["spare"]
    at.test(broken, OPEN_2)
    event = at.event("Lantern Field", date(2026, 10, 3))
    assert told(program, event)["would fit, test it first"] == spare
    paper = program.crew.post(f"/pull/{event}/prints", data={"op": op()}).headers["location"]
    assert f"test it first: {spare} from Spares Case." in program.crew.get(paper).text
    at.test(spare)
    row = told(program, event)
    assert (row["goes in"], row["it lies at"], row["would fit, test it first"]) == (spare, "Spares Case", "")
    paper = program.crew.post(f"/pull/{event}/prints", data={"op": op()}).headers["location"]
    assert ", from Spares Case." in program.crew.get(paper).text
