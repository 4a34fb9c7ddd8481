"""Printed tags are read: every tag of a sheet, at the resolution of a common printer, by another library."""

from collections import Counter
from pathlib import Path
from random import Random

import pypdfium2
import pytest
import zxingcpp

from service.__main__ import main
from service.kit.codes import make_code
from service.tags.core import SHEETS, Label, faces, tag_url
from service.tags.drawing import sheet_pdf
from tests.support.program import BASE, Running, op, running

DPI = 300
NAMES = ("10 ft cable", "7'6\" cable", "Hub (stage box)", "100 ft trunk (multicore)")


def read(pdf: bytes) -> list[list[str]]:
    """What the symbols of each page say, rendered at 300 dpi in gray."""
    pages = [page.render(scale=DPI / 72, grayscale=True).to_pil() for page in pypdfium2.PdfDocument(pdf)]
    return [[found.text for found in zxingcpp.read_barcodes(page)] for page in pages]


@pytest.mark.parametrize("paper", SHEETS)
@pytest.mark.parametrize(
    "base",
    ["https://cables.example.org", "http://192.0.2.77:8000", "https://" + "cable-book." * 5 + "example.org"],
)
def test_every_tag_of_a_sheet_says_its_own_address(paper: str, base: str) -> None:
    source = Random(7)
    codes = [make_code(source) for _ in range(SHEETS[paper].rows + 3)]
    labels = [Label(code, NAMES[at % len(NAMES)], tag_url(base, code)) for at, code in enumerate(codes)]
    pages = read(sheet_pdf(labels, SHEETS[paper]))
    assert [len(page) for page in pages] == [4 * SHEETS[paper].rows, 4 * 3]
    # Two ends, and two sides of a flag: four symbols an item.
    assert Counter(text for page in pages for text in page) == {label.url: 4 for label in labels}


def test_symbols_lie_where_the_geometry_says() -> None:
    sheet = SHEETS["letter"]
    label = Label("7K3M9U", "10 ft cable", tag_url("https://cables.example.org", "7K3M9U"))
    [page] = [page.render(scale=DPI / 72, grayscale=True).to_pil()
              for page in pypdfium2.PdfDocument(sheet_pdf([label], sheet))]  # fmt: skip
    dot = 25.4 / DPI
    for face in faces(sheet.box(0, 1)):
        corners = (face.symbol.x, face.symbol.y, face.symbol.right, face.symbol.bottom)
        cut = page.crop(tuple(round(edge / dot) for edge in corners))
        [found] = zxingcpp.read_barcodes(cut)
        assert (found.text, found.ec_level) == (label.url, "Q")


def test_the_command_writes_the_tags_of_all_items_or_those_named(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with running(sqlite_url) as program:
        body = {"id": op(), "kind": "cable", "length": "10 ft", "count": 3}
        codes = [item["code"] for item in program.lead.post("/api/v1/items", json=body).json()]
    monkeypatch.setenv("COILBOOK_DATABASE_URL", sqlite_url)
    monkeypatch.setenv("COILBOOK_BASE_URL", BASE)
    out = tmp_path / "tags.pdf"
    assert main(["tags", "--out", str(out)]) == 0
    assert Counter(read(out.read_bytes())[0]) == {tag_url(BASE, code): 4 for code in codes}
    assert main(["tags", "--out", str(out), codes[1].lower()]) == 0
    assert Counter(read(out.read_bytes())[0]) == {tag_url(BASE, codes[1]): 4}
    monkeypatch.delenv("COILBOOK_BASE_URL")
    assert main(["tags", "--out", str(out)]) == 1
    assert "COILBOOK_BASE_URL" in capsys.readouterr().err


def test_the_sheet_of_a_program_is_a_pdf_for_leads(program: Running) -> None:
    body = {"id": op(), "kind": "cable", "length": "10 ft", "count": 2}
    codes = [item["code"] for item in program.lead.post("/api/v1/items", json=body).json()]
    answer = program.lead.get("/tags/sheet.pdf", params={"code": codes, "sheet": "a4"})
    assert answer.headers["content-type"] == "application/pdf"
    assert set(read(answer.content)[0]) == {tag_url(BASE, code) for code in codes}
    assert program.lead.get("/tags/sheet.pdf").status_code == 422
    assert program.lead.get("/tags/sheet.pdf", params={"code": codes, "sheet": "a7"}).status_code == 422
    assert program.crew.get("/tags/sheet.pdf", params={"code": codes}).status_code == 403
