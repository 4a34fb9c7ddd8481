"""Printed tags are read: every tag of a sheet, at the resolution of a common printer, by another library."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from math import ceil, floor
from pathlib import Path
from random import Random

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from service.__main__ import main
from service.kit.codes import make_code
from service.tags.core.layout import Style, TagLabel, lay_out
from service.tags.core.marks import Symbol, Words
from service.tags.core.pages import Page, Placed, pages
from service.tags.core.printer import Printer
from service.tags.core.sheets import SHEETS, PaperSheet
from service.tags.core.symbols import CannotPrint, grid, tag_url
from service.tags.drawing import calibration_pdf, sheet_pdf
from service.tags.preview import page_svg
from tests.support.program import BASE, Running, op, running

DPI = 300
DOT = 25.4 / DPI
NAMES = ("10 ft cable", "7'6\" cable", "Hub (stage box)", "100 ft trunk (multicore)", "Marimba, “low” (é) 太")
ADDRESSES = [
    "https://cables.example.org",
    "http://192.0.2.77:8000",
    "https://" + "cable-book." * 5 + "example.org",
]


def rendered(pdf: bytes) -> Iterator[Image.Image]:
    """The pages at 300 dpi, in gray."""
    document = pypdfium2.PdfDocument(pdf)
    for page in document:
        yield page.render(scale=DPI / 72, grayscale=True).to_pil()
    document.close()


def read(page: Image.Image) -> list[str]:
    """What the symbols of a page say."""
    return [
        found.text
        for found in zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    ]


def labels(base: str, items: int, style: Style = Style.FLAG, seed: int = 7) -> list[TagLabel]:
    """Both ends of so many items."""
    source = Random(seed)
    codes = [make_code(source) for _ in range(items)]
    return [
        TagLabel(code, NAMES[at % len(NAMES)], tag_url(base, code), end, "8 × XLR plug", style)
        for at, code in enumerate(codes)
        for end in "AB"
    ]


def printed(page: Page, sheet: PaperSheet, image: Image.Image) -> list[tuple[str, str]]:
    """What each symbol says when it is cut out where the geometry puts it, and what it should say."""
    found = []
    for placed in page:
        at = sheet.box(placed.number)
        for mark in placed.marks:
            if isinstance(mark, Symbol):
                box = mark.box.moved(at.x, at.y)
                left, top, right, bottom = (round(edge / DOT) for edge in (box.x, box.y, box.right, box.bottom))
                cut = image.crop((left, top, right, bottom))
                found.append(("".join(read(cut)), placed.label.url))
    return found


@pytest.mark.parametrize("key", SHEETS)
def test_every_tag_of_a_thousand_items_says_its_own_address(key: str) -> None:
    """125 items on each of the eight sheets, both ends, every symbol read where the geometry puts it."""
    sheet = SHEETS[key]
    tags = labels(ADDRESSES[0], 125, seed=len(key))
    placed = pages(tags, sheet)
    read_back = [
        pair
        for page, image in zip(placed, rendered(sheet_pdf(placed, sheet, Printer())), strict=True)
        for pair in printed(page, sheet, image)
    ]
    assert len(read_back) == 500
    assert [said for said, _ in read_back] == [url for _, url in read_back]


@pytest.mark.parametrize("key", SHEETS)
@pytest.mark.parametrize("base", ADDRESSES)
@pytest.mark.parametrize("style", [Style.FLAG, Style.PLATE])
def test_a_page_is_read_as_a_whole_whatever_the_address(key: str, base: str, style: Style) -> None:
    sheet, tags = SHEETS[key], labels(base, 3, style)
    placed = pages(tags, sheet)
    [image] = rendered(sheet_pdf(placed, sheet, Printer()))
    each = 2 if style is Style.FLAG else 1
    assert Counter(read(image)) == Counter({tag.url: 2 * each for tag in tags})


def test_a_thousand_flags_are_a_small_file() -> None:
    sheet = SHEETS["letter"]
    assert len(sheet_pdf(pages(labels(ADDRESSES[0], 500), sheet), sheet, Printer())) < 500_000


def test_an_address_too_long_for_a_flag_is_told_before_it_is_printed() -> None:
    base = "https://" + "cable-book." * 6 + "example.org"
    with pytest.raises(CannotPrint, match="Choose larger labels or wraps, or use a shorter host name"):
        pages(labels(base, 1), SHEETS["letter"])
    assert pages(labels(base, 1), SHEETS["101.6x50.8"])


@pytest.mark.parametrize(("key", "points"), [("letter", (612, 792)), ("a4", (595.28, 841.89))])
def test_pages_are_letter_and_a4(key: str, points: tuple[float, float]) -> None:
    # ISO 216 and ANSI/ASME Y14.1 (from memory): A4 is 210 x 297 mm, Letter 8.5 x 11 in; a point is 1/72 in
    sheet = SHEETS[key]
    for pdf in (
        sheet_pdf(pages(labels(ADDRESSES[0], 1), sheet), sheet, Printer()),
        calibration_pdf(sheet, Printer()),
    ):
        [page] = pypdfium2.PdfDocument(pdf)
        assert page.get_size() == pytest.approx(points, abs=0.01)


def dark(image: Image.Image) -> tuple[float, float, float, float]:
    """Where the ink of a page begins and ends, in millimeters."""
    box = image.point(lambda shade: 255 if shade < 128 else 0).getbbox()
    assert box is not None
    return tuple(edge * DOT for edge in box)  # type: ignore[return-value]


def test_a_printers_errors_are_put_right_in_the_page() -> None:
    """What goes to a printer that makes 97 % and 102 %, 2 mm to the right and 1 mm up, is drawn the other way."""
    sheet, tags = SHEETS["63.5x38.1"], labels(ADDRESSES[0], 1)
    printer = Printer(97_000, 102_000, 2_000, -1_000)
    straight, corrected = (
        dark(next(rendered(sheet_pdf(pages(tags, sheet), sheet, by)))) for by in (Printer(), printer)
    )
    as_printed = [told * scale + off for told, scale, off in zip(corrected, (0.97, 1.02) * 2, (2, -1) * 2, strict=True)]
    assert as_printed == pytest.approx(straight, abs=0.2)
    assert corrected != pytest.approx(straight, abs=1)


def test_the_rulers_of_the_printer_check_are_100_mm() -> None:
    [image] = rendered(calibration_pdf(SHEETS["a4"], Printer()))
    ink = image.point(lambda shade: 0 if shade < 160 else 255)

    def run(line: Image.Image) -> float:
        shades = line.tobytes()
        return max(map(len, shades.split(b"\xff"))) * DOT

    row, column = round(20 / DOT), round(20 / DOT)
    across = max(run(ink.crop((0, y, ink.width, y + 1))) for y in range(row - 3, row + 4))
    down = max(run(ink.crop((x, 0, x + 1, ink.height))) for x in range(column - 3, column + 4))
    assert [across, down] == pytest.approx([104, 104], abs=0.3)  # and 4 mm of the cross


def words_of(style: Style, sheet: PaperSheet) -> list[Placed]:
    """Every line of text of two labels with letters that reach far up and down, one line to a label."""
    found: list[Words] = []
    for code, name, more in (
        ("QQQQQQ", "Qj gåÅ (Ç)", "8 × QXLR, Åj"),
        ("JQ7G3Q", "Trunk Q (multicore), Ågj", ""),
    ):
        tag = TagLabel(code, name, tag_url(ADDRESSES[0], code), "A", more, style)
        try:
            marks = lay_out(tag, sheet, grid(tag.url))
        except CannotPrint:
            return []
        found += [mark for mark in marks if isinstance(mark, Words)]
    return [Placed(number, tag, [mark]) for number, mark in enumerate(found)]


@pytest.mark.parametrize("key", SHEETS)
def test_every_letter_is_printed_within_its_box(key: str) -> None:
    """The foot of a Q would run into the line below. The page is some whole dots high, so it may be off by one."""
    sheet = SHEETS[key]
    for style in Style:
        placed = words_of(style, sheet)
        for at in range(0, len(placed), sheet.labels):
            page = [replace(one, number=one.number - at) for one in placed[at : at + sheet.labels]]
            [image] = rendered(sheet_pdf([page], sheet, Printer()))
            assert image.point(lambda shade: 255 if shade < 128 else 0).getbbox()
            for one in page:
                label, [mark] = sheet.box(one.number), one.marks
                box = mark.box.moved(label.x, label.y)
                left, top = floor(box.x / DOT) - 1, floor(box.y / DOT) - 1
                right, bottom = ceil(box.right / DOT) + 1, ceil(box.bottom / DOT) + 1
                image.paste(255, (left, top, right, bottom))
            assert image.point(lambda shade: 255 if shade < 128 else 0).getbbox() is None, style


def test_the_preview_shows_what_is_printed() -> None:
    sheet = SHEETS["63.5x38.1"]
    tags = labels(ADDRESSES[0], 2)
    tags[0] = TagLabel(tags[0].code, "<script>alert(1)</script> & co", tags[0].url, "A")
    svg = page_svg(pages(tags, sheet)[0], sheet, "Page 1 of 1")
    assert svg.count("<symbol") == 2
    assert svg.count("<use") == 8
    assert "<script" not in svg
    assert "style=" not in svg


def item_codes(program: Running, count: int) -> list[str]:
    """The codes of new cables."""
    body = {"id": op(), "kind": "cable", "length": "10 ft", "count": count}
    return [item["code"] for item in program.lead.post("/api/v1/items", json=body).json()]


def test_the_command_writes_the_tags_of_all_items_or_those_named(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with running(sqlite_url) as program:
        codes = item_codes(program, 3)
    monkeypatch.setenv("COILBOOK_DATABASE_URL", sqlite_url)
    monkeypatch.setenv("COILBOOK_BASE_URL", BASE)
    out = tmp_path / "tags.pdf"
    assert main(["tags", "--out", str(out)]) == 0
    assert Counter(read(next(rendered(out.read_bytes())))) == {tag_url(BASE, code): 4 for code in codes}
    assert main(["tags", "--out", str(out), codes[1].lower()]) == 0
    assert Counter(read(next(rendered(out.read_bytes())))) == {tag_url(BASE, codes[1]): 4}
    assert main(["tags", "--out", str(out / "below" / "a-file.pdf")]) == 1
    assert f"{out / 'below' / 'a-file.pdf'} cannot be written: " in capsys.readouterr().err
    monkeypatch.delenv("COILBOOK_BASE_URL")
    assert main(["tags", "--out", str(out)]) == 1
    assert "COILBOOK_BASE_URL" in capsys.readouterr().err


def test_the_sheet_of_a_program_is_a_pdf_for_leads(program: Running) -> None:
    codes = item_codes(program, 2)
    answer = program.lead.get("/tags/sheet.pdf", params={"code": codes, "sheet": "a4"})
    assert answer.headers["content-type"] == "application/pdf"
    assert set(read(next(rendered(answer.content)))) == {tag_url(BASE, code) for code in codes}
    assert program.lead.get("/tags/sheet.pdf").status_code == 422
    assert program.lead.get("/tags/sheet.pdf", params={"code": codes, "sheet": "a7"}).status_code == 422
    assert program.crew.get("/tags/sheet.pdf", params={"code": codes}).status_code == 403
