"""Damaged, blurred, turned and wrapped tags are read as often as they were when tags were designed.

The published shares are of zxing-cpp over synthetic images (one white rectangle of a share of the symbol's area,
aspect 1:2 to 2:1, 400 trials a cell, 8 pixels a square; 20 trials for blur; 24 shots on a cable). These runs have
seeds and geometry of their own, so a share may differ by the binomial error of both runs: 3.3 standard errors,
one false alarm in a thousand cells.
"""

from math import sqrt
from random import Random

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from service.kit.codes import make_code
from service.tags.core.symbols import grid
from service.tags.photo import read_photo
from tests.tags.images import blurred, dim, encoded, patched, scene, symbol, tilted, wrapped

QR = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
TRIALS = 120


def url(source: Random) -> str:
    return f"HTTPS://CABLES.EXAMPLE.ORG/T/{make_code(source)}"


def reads(image: Image.Image | np.ndarray, text: str) -> bool:
    return [found.text for found in zxingcpp.read_barcodes(image, formats=QR)] == [text]


def margin(share: float, trials: int, theirs: int) -> float:
    """How far two shares of one truth may lie apart; a share at an edge is treated as 1 in 20 away from it."""
    truth = min(max(share, 0.05), 0.95)
    return 3.3 * sqrt(truth * (1 - truth) * (1 / trials + 1 / theirs))


@pytest.mark.parametrize(
    ("area", "published"),
    [
        (0.01, 0.91),
        (0.02, 0.80),
        (0.03, 0.77),
        (0.05, 0.72),
        (0.07, 0.715),
        (0.10, 0.68),
        (0.125, 0.50),
        (0.15, 0.205),
        (0.20, 0.0),
    ],
)
def test_worn_by_a_patch_anywhere(area: float, published: float) -> None:
    # Level Q of the table "anywhere, white patch"
    source = Random(round(1000 * area))
    hits = 0
    for _ in range(TRIALS):
        text = url(source)
        hits += reads(patched(symbol(text), area, source), text)
    assert hits / TRIALS == pytest.approx(published, abs=margin(published, TRIALS, 400))


@pytest.mark.parametrize(
    ("area", "published"), [(0.01, 0.81), (0.05, 0.6825), (0.10, 0.64), (0.15, 0.17), (0.20, 0.0075)]
)
def test_worn_by_a_dark_patch(area: float, published: float) -> None:
    # Level Q of the table "anywhere, black patch"
    source = Random(round(1000 * area) + 1)
    hits = 0
    for _ in range(TRIALS):
        text = url(source)
        hits += reads(patched(symbol(text), area, source, shade=0), text)
    assert hits / TRIALS == pytest.approx(published, abs=margin(published, TRIALS, 400))


@pytest.mark.parametrize(
    ("pixels", "sigma", "published"),
    [(3, 0.2, 1.0), (3, 0.4, 1.0), (3, 0.7, 0.0), (4, 0.4, 1.0), (4, 0.7, 0.0), (8, 0.2, 1.0), (8, 0.7, 0.0)],
)
def test_out_of_focus(pixels: int, sigma: float, published: float) -> None:
    # All levels: 100 % up to 0.4 of a square at 3 and 4 pixels a square, 0 % by 0.7; sigma in squares
    source, hits = Random(pixels), 0
    for _ in range(30):
        text = url(source)
        hits += reads(blurred(Image.fromarray(symbol(text, pixels)), sigma * pixels), text)
    assert hits / 30 == pytest.approx(published, abs=margin(published, 30, 20))


@pytest.mark.parametrize("pixels", [3, 4, 8])
def test_turned_in_the_picture(pixels: int) -> None:
    # Published: 100 % at every angle from 0 to 270 degrees
    source = Random(pixels)
    for degrees in range(0, 360, 15):
        text = url(source)
        picture = Image.fromarray(symbol(text, pixels)).rotate(
            degrees, Image.Resampling.BICUBIC, expand=True, fillcolor=255
        )
        assert reads(picture, text), degrees


def test_two_pixels_a_square_are_enough() -> None:
    # Published: 2 pixels a square 100 % (clean)
    source = Random(2)
    for _ in range(30):
        text = url(source)
        assert reads(symbol(text, 2), text)


@pytest.mark.parametrize(
    ("module_mm", "published"),
    [(0.125, 0.96), (0.150, 1.0), (0.250, 0.0), (0.300, 0.0), (0.330, 0.0), (0.400, 0.0)],
)
def test_round_a_cable_of_6_5_mm(module_mm: float, published: float) -> None:
    # Level Q, version 3: fine to about 4.4 mm of width, gone from 7.25 mm; 24 shots a cell
    source, hits = Random(round(1000 * module_mm)), 0
    for _ in range(24):
        text = url(source)
        assert grid(text).version == 3
        hits += reads(wrapped(symbol(text), module_mm, 6.5, source), text)
    assert hits / 24 == pytest.approx(published, abs=margin(published, 24, 24))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize(
    "seen",
    [
        lambda image: image,
        lambda image: tilted(image, 40),
        lambda image: tilted(image.rotate(20, Image.Resampling.BICUBIC, fillcolor=190), -50),
        lambda image: dim(image, 0.12, 3, 1),
        lambda image: dim(blurred(image, 1.5), 0.4, 8, 2),
        lambda image: blurred(image, 2),
    ],
    ids=["straight", "aslant", "turned and aslant", "dark", "dim, noisy and soft", "soft"],
)
def test_photos_as_phones_take_them_are_read(kind: str, seen: object) -> None:
    source = Random(5)
    text = url(source)
    photo = seen(scene(symbol(text)))  # type: ignore[operator]
    assert read_photo(encoded(photo, kind)) == [text]


def test_a_tag_in_a_tenth_of_the_width_is_read() -> None:
    text = url(Random(8))
    photo = scene(np.asarray(Image.fromarray(symbol(text)).resize((160, 160), Image.Resampling.BOX)))
    assert read_photo(encoded(photo)) == [text]
    large = photo.resize((4000, 3000), Image.Resampling.BICUBIC)
    assert read_photo(encoded(large)) == [text]


def test_several_tags_in_one_picture_are_all_read_once() -> None:
    source = Random(9)
    texts = [url(source) for _ in range(2)]
    photo = scene(symbol(texts[0]), symbol(texts[1]), symbol(texts[0]), size=(2000, 900))
    assert sorted(read_photo(encoded(photo))) == sorted(texts)


def test_a_picture_without_a_code_says_nothing() -> None:
    assert read_photo(encoded(Image.new("RGB", (800, 600), "gray"))) == []
