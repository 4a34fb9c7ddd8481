"""How long it takes to print and to read tags: `.venv/bin/python -m tests.bench.tags [--times N]`.

Prints medians: 1,000 flags to PDF (500 items, both ends; the aim is 1.5 s and 0.5 MB), one symbol, and reading a
photo of a tag at the sizes that phones send.
"""

import argparse
from collections.abc import Callable
from random import Random
from statistics import median
from time import perf_counter

from PIL import Image

from service.kit.codes import make_code
from service.tags.core.layout import Style, TagLabel
from service.tags.core.pages import pages
from service.tags.core.printer import Printer
from service.tags.core.sheets import SHEETS
from service.tags.core.symbols import grid, matrix, tag_url
from service.tags.drawing import sheet_pdf
from service.tags.photo import read_photo
from tests.tags.images import encoded, symbol

BASE = "https://cables.example.org"


def main() -> None:
    """Measure, and print a table."""
    parser = argparse.ArgumentParser(description="Measure printing and reading tags.")
    parser.add_argument("--times", type=int, default=7, help="how often each is measured")
    times = parser.parse_args().times
    codes = [make_code(Random(number)) for number in range(500)]
    for key in ("letter", "63.5x38.1"):
        found = measured(lambda key=key: flags(codes, key), times)  # type: ignore[misc]
        print(f"1,000 flags on {key:<10} {found:8.3f} s {len(flags(codes, key)) / 1000:8.0f} kB")
    url = tag_url(BASE, codes[0])
    size = grid(url)
    print(f"one symbol               {1000 * measured(lambda: matrix(url, size), 50):8.2f} ms")
    tag = Image.fromarray(symbol(url))
    for width, height in ((1600, 1200), (4000, 3000), (6300, 4700)):
        side = width // 4
        sized = Image.new("L", (width, height), 190)
        sized.paste(tag.resize((side, side)), (side, side))
        photo = encoded(sized.convert("RGB"))
        took = measured(lambda photo=photo: read_photo(photo), times)  # type: ignore[misc]
        print(f"a photo of {width} x {height}   {1000 * took:8.1f} ms")


def flags(codes: list[str], key: str) -> bytes:
    """The PDF of both ends of these items."""
    sheet = SHEETS[key]
    labels = [TagLabel(code, "10 ft cable", tag_url(BASE, code), end, "", Style.FLAG) for code in codes for end in "AB"]
    return sheet_pdf(pages(labels, sheet), sheet, Printer())


def measured(do: Callable[[], object], times: int) -> float:
    """The median of so many runs, in seconds, after one to warm up."""
    do()
    took = []
    for _ in range(times):
        begun = perf_counter()
        do()
        took.append(perf_counter() - begun)
    return median(took)


if __name__ == "__main__":
    main()
