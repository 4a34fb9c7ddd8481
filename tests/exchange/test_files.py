"""`coilbook import` and `coilbook export`: files by what they are, whole or not at all."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from service.__main__ import main
from service.exchange.files import write_whole


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):  # type: ignore[no-untyped-def]
    """Run a command on one of two databases; its exit status and what it said."""

    def ran(*command: str, database: str = "one") -> tuple[int, str]:
        monkeypatch.setenv("COILBOOK_DATABASE_URL", f"sqlite:///{tmp_path}/{database}.db")
        status = main(command)
        said = capsys.readouterr()
        return status, said.out + said.err

    return ran


def test_a_program_goes_from_database_to_database(tmp_path: Path, run) -> None:  # type: ignore[no-untyped-def]
    gear = tmp_path / "gear.csv"
    gear.write_text("Name;Length;Bought\nlow end;10 ft;2024-10-06\nx;ten feet;\n")
    status, said = run("import", str(gear), "--dry-run")
    assert status == 1
    assert "1 of 2 rows is wrong, so an import would write nothing. Put those right, or" in said
    assert run("import", str(gear), "--dry-run", "--take-good")[0] == 0
    assert "line 3: error, x: length: “ten feet” needs a number and a unit: 10 ft or 3 m." in said
    assert "nothing was written: 1 new, 1 error" in said
    status, said = run("import", str(gear))
    assert status == 1
    assert "Nothing was brought in" in said
    assert "with --take-good" in said
    assert "is on line 2" not in said
    said = run("import", str(gear), "--take-good")[1]
    assert "Brought in a sheet of gear: 1 new, 1 error." in said
    assert "There was no program yet, so one was set up" in said
    unnamed = tmp_path / "unnamed.csv"
    unnamed.write_text("Name,Length,,\nlow end,10 ft,,torn boot\n")
    assert "column 4, which has no name: left out" in run("import", str(unnamed), "--dry-run")[1]
    out = tmp_path / "out.json"
    assert run("export", "--out", str(out), "--csv", str(tmp_path / "sheets"))[0] == 0
    assert "1 same" in run("import", str(tmp_path / "sheets" / "gear.csv"))[1]
    assert "can be brought in" in run("import", str(out), "--dry-run", database="two")[1]
    assert "Brought in the whole program" in run("import", str(out), database="two")[1]
    assert "not empty" in run("import", str(out), database="two")[1]
    again = tmp_path / "again.json"
    assert run("export", "--out", str(again), database="two")[0] == 0
    assert again.read_text().split("\n", 1)[1] == out.read_text().split("\n", 1)[1]


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (["import", "nowhere.csv"], "cannot be read"),
        (["export"], "Say where to"),
        (["export", "--out", "/dev/null/x.json"], "cannot be written"),
    ],
)
def test_what_cannot_be_is_one_sentence(run, command: list[str], said: str) -> None:  # type: ignore[no-untyped-def]
    status, told = run(*command)
    assert status == 1
    assert said in told


def test_what_breaks_while_it_is_written_leaves_nothing(tmp_path: Path) -> None:
    def pieces() -> Iterator[bytes]:
        yield b"Robin"
        raise ZeroDivisionError

    (tmp_path / "program.json").write_bytes(b"before")
    with pytest.raises(ZeroDivisionError):
        write_whole(tmp_path / "program.json", pieces())
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("program.json", b"before")]


def test_an_empty_program_goes_out_as_empty_sheets(tmp_path: Path, run) -> None:  # type: ignore[no-untyped-def]
    assert run("migrate")[0] == 0
    assert run("export", "--out", str(tmp_path / "all.json"), "--csv", str(tmp_path))[0] == 0
    for name in ("gear", "tests"):
        assert (tmp_path / f"{name}.csv").read_text().count("\n") == 1


def test_what_stays_out_is_said_before_anything_is_written(tmp_path: Path, run) -> None:  # type: ignore[no-untyped-def]
    sheet = tmp_path / "gear.csv"
    sheet.write_text("Item,Length\nXLR cable,10 ft\nfog juice,6 ft\nTotal,16 ft\n")
    status, said = run("import", str(sheet))
    told = said.splitlines()
    assert status == 0
    assert told[-5].startswith("line 3: not taken, fog juice: ")
    assert told[-4].startswith("line 4: not taken, Total: ")
    assert told[-3] == "A sheet of gear, before anything is written: 1 new, 2 not taken."
    assert told[-2] == "Brought in a sheet of gear: 1 new, 2 not taken."
    assert run("import", str(sheet), "--kind", "cable")[1].count("new") == 2  # the answer for all that say no kind
    sheet.write_text("Item,Length\nfog juice,6 ft\nTotal,16 ft\n")
    status, said = run("import", str(sheet), database="empty")
    assert status == 1
    assert "no row of it can be taken: 2 not taken" in said
    sheet.write_text("Item,Length\nXLR cable,10 ft\nXLR cable,ten\n")
    status, said = run("import", str(sheet), database="empty")
    assert status == 1
    assert said.count("line 3: error") == 1
    sheet.write_text("Item,Length\nXLR cable,10\n")
    status, said = run("import", str(sheet), database="empty")
    assert (status, "above" in said) == (1, False)


def test_what_an_empty_cell_below_a_place_means_is_asked(tmp_path: Path, run) -> None:  # type: ignore[no-untyped-def]
    sheet = tmp_path / "gear.csv"
    sheet.write_text("Name,Length,Place\nlow end,10 ft,Frame 3\nhigh end,10 ft,\n")
    assert "--blank-place same or --blank-place none" in run("import", str(sheet))[1]
    assert run("import", str(sheet), "--blank-place", "same")[0] == 0


SHEET = """Code,Stuff,Size,Got,Got
XLR-07,cable,10,10/6/24,Frame 3
XLR-08,cable,12,10/7/24,Frame 3
"""


def test_a_refusal_names_the_option_that_answers_it(tmp_path: Path, run) -> None:  # type: ignore[no-untyped-def]
    """Each option that it names is added, until the sheet comes in as it is meant."""
    sheet = tmp_path / "gear.csv"
    sheet.write_text(SHEET)
    options: list[str] = ["--tests"]

    def refused(*more: str) -> str:
        status, said = run("import", str(sheet), *options, *more)
        assert status == 1, said
        return str(said.splitlines()[-1])

    for named in ("tested_at", "verdict"):
        assert f'--column "NAME={named}"' in refused()
    assert "--gear" in refused()
    options = ["--gear"]
    assert "There is no column “Gone”; there are Code, Stuff, Size, Got, Got." in refused("--column", "Gone=note")
    assert "say which one: column 4, column 5" in refused("--column", "Got=place")
    assert "is never “weight”; it is one of code, label," in refused("--column", "Size=weight")
    options += ["--column", "Column 4=Bought on", "--column", "column 5=place", "--column", "stuff="]
    assert "--unit feet or --unit meters" in refused("--dates", "mdy")
    assert "--dates mdy, --dates dmy or --dates ymd" in refused("--unit", "feet")
    said = run("import", str(sheet), *options, "--unit", "feet", "--dates", "ymd")[1]
    assert "“10/6/24”" not in said
    assert "Brought in a sheet of gear: 2 new." in said
    assert "column Code: label" in said
    assert "column Stuff: left out" in said
    run("export", "--csv", str(tmp_path / "out"))
    rows = (tmp_path / "out" / "gear.csv").read_text().splitlines()
    assert [row.split(",")[1:10] for row in rows[1:]] == [
        ["XLR-07", "cable", "xlr3", "10 ft", "", "Frame 3", "", "", "2010-06-24"],
        ["XLR-08", "cable", "xlr3", "12 ft", "", "Frame 3", "", "", "2010-07-24"],
    ]


@pytest.mark.parametrize(
    ("sheet", "says"),
    [
        ("Name\nlow end\nvibes\n", "Where each row is a hub, which has none, choose that as the kind of gear."),
        ("Name\nMarimba 10 ft\nFridge 3 ft\n", "no row of it can be taken: 2 not taken"),
    ],
)
def test_mere_names_are_not_taken_for_cables(tmp_path: Path, run, sheet: str, says: str) -> None:  # type: ignore[no-untyped-def]
    names = tmp_path / "names.csv"
    names.write_text(sheet)
    for dry in ([], ["--dry-run"]):
        status, said = run("import", str(names), *dry)
        assert status == 1
        assert says in said
    gear = ["hub", "cable"]["ft" in sheet]
    assert "2 new" in run("import", str(names), "--kind", gear)[1]
