"""Photos made by the tests: a tag as a phone may see it."""

import io
from math import pi
from random import Random

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from service.tags.core.symbols import QUIET_MODULES, grid, matrix

Gray = NDArray[np.uint8]


def symbol(text: str, pixels: int = 8) -> Gray:
    """A symbol with its quiet zone, so many pixels a square: dark 0, white 255."""
    squares = np.pad(np.array(matrix(text, grid(text))), QUIET_MODULES)
    return np.where(squares, 0, 255).astype(np.uint8).repeat(pixels, 0).repeat(pixels, 1)


def scene(*symbols: Gray, size: tuple[int, int] = (1600, 1200), ground: int = 190) -> Image.Image:
    """Symbols beside each other on a plain ground."""
    image = Image.new("L", size, ground)
    step = size[0] // len(symbols)
    for number, each in enumerate(symbols):
        tag = Image.fromarray(each)
        image.paste(tag, (number * step + (step - tag.width) // 2, (size[1] - tag.height) // 2))
    return image


def tilted(image: Image.Image, degrees: float) -> Image.Image:
    """Seen aslant from a distance of three widths: turned about the upright axis, with perspective."""
    angle, far = degrees * pi / 180, 3.0
    width, height = image.size

    def seen(x: float, y: float) -> tuple[float, float]:
        across, deep = x * np.cos(angle), x * np.sin(angle)
        return across * far / (far + deep), y * far / (far + deep)

    corners = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]
    there = [((u + 0.5) * width, (v + 0.5) * height) for u, v in (seen(*corner) for corner in corners)]
    here = [((x + 0.5) * width, (y + 0.5) * height) for x, y in corners]
    rows, right = [], []
    for (tx, ty), (hx, hy) in zip(there, here, strict=True):
        rows += [[tx, ty, 1, 0, 0, 0, -hx * tx, -hx * ty], [0, 0, 0, tx, ty, 1, -hy * tx, -hy * ty]]
        right += [hx, hy]
    coefficients = np.linalg.solve(np.array(rows), np.array(right))
    return image.transform(
        image.size,
        Image.Transform.PERSPECTIVE,
        coefficients.tolist(),
        Image.Resampling.BICUBIC,
        fillcolor=190,
    )


def dim(image: Image.Image, share: float, noise: float, seed: int) -> Image.Image:
    """In the dark: so much of the light, and the noise of a phone that does its best."""
    shades = np.asarray(image, dtype=float) * share
    shades += np.random.default_rng(seed).normal(0, noise, shades.shape)
    return Image.fromarray(np.clip(shades, 0, 255).astype(np.uint8))


def blurred(image: Image.Image, pixels: float) -> Image.Image:
    """Out of focus or moved: a Gaussian blur of so many pixels (standard deviation)."""
    return image.filter(ImageFilter.GaussianBlur(pixels))


def patched(tag: Gray, share: float, source: Random, shade: int = 255) -> Gray:
    """With one rectangle of this share of the symbol's area rubbed out, anywhere in it, 1:2 to 2:1."""
    quiet = QUIET_MODULES * 8
    side = tag.shape[0] - 2 * quiet
    aspect = 2 ** source.uniform(-1, 1)
    high, wide = (min(side, round(side * (share * ratio) ** 0.5)) for ratio in (aspect, 1 / aspect))
    top, left = quiet + source.randint(0, side - high), quiet + source.randint(0, side - wide)
    worn = tag.copy()
    worn[top : top + high, left : left + wide] = shade
    return worn


def wrapped(tag: Gray, module_mm: float, cable_mm: float, source: Random) -> Gray:
    """Round a cable, seen from the side without perspective, 24 pixels a millimeter, turned a little at random."""
    per_mm = 24
    pixels = tag.shape[0] / (tag.shape[0] / 8 * module_mm)
    radius = cable_mm / 2
    turn = source.uniform(-10, 10) * pi / 180
    across = np.arange(-radius, radius, 1 / per_mm)
    angle = np.arcsin(np.clip(across / radius, -1, 1)) - turn
    column = np.round(tag.shape[1] / 2 + angle * radius * pixels).astype(int)
    rows = np.round(np.arange(0, tag.shape[0] / pixels, 1 / per_mm) * pixels).astype(int)
    seen = np.full((len(rows), len(column)), 255, np.uint8)
    on_tag = (column >= 0) & (column < tag.shape[1])
    seen[:, on_tag] = tag[np.clip(rows, 0, tag.shape[0] - 1)][:, column[on_tag]]
    return np.pad(seen, 40, constant_values=190)


def encoded(image: Image.Image, kind: str = "JPEG", **how: object) -> bytes:
    """The file that a phone would send."""
    file = io.BytesIO()
    image.save(file, kind, **how)
    return file.getvalue()
