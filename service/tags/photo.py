"""Reading the QR codes in a photo, with limits on memory and time.

What is refused is refused by the file's first bytes, before anything is decoded. A photo is held in memory while it
is read, never stored or logged, and what a camera wrote about place and time is not looked at.
"""

import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BytesIO
from threading import BoundedSemaphore
from typing import Final

from service.kit.problems import Busy, Invalid, invalid

MOST_PIXELS: Final = {"JPEG": 30_000_000, "PNG": 16_000_000, "WEBP": 8_000_000}
"""The most pixels by format: JPEG, from cameras, is decoded at a reduced size; the others, from screenshots, take up to
24 bytes for each pixel."""
MOST_AT_ONCE: Final = 2
READ_AT: Final = 4_000_000
"""Pixels that a photo is brought down to before it is searched. A picture made of nothing but the corner marks of QR
codes takes 0.9 s at 4 million, and 8 s at 12 million."""
_MOST_SCANS: Final = 100
"""The most scans of a JPEG: many small ones, each over the whole picture, would take hours; cameras write about ten."""
_WAIT: Final = 1.0

_slots = BoundedSemaphore(MOST_AT_ONCE)


def read_photo(photo: bytes) -> list[str]:
    """The texts of the QR codes in a JPEG, PNG or WebP, without duplicates.

    Raises:
        Invalid: it is none of these, broken, or too large.
        Busy: enough photos are being read right now.
    """
    kind = _kind(photo)
    with _slot():
        return _read(photo, kind)


@contextmanager
def _slot() -> Iterator[None]:
    if not _slots.acquire(timeout=_WAIT):
        raise Busy("Others are having photos read right now. Send it again in a moment, or type the code.")
    try:
        yield
    finally:
        _slots.release()


def _kind(photo: bytes) -> str:
    for kind, begins, size in _KINDS:
        if begins(photo):
            try:
                width, height = size(photo)
            except (struct.error, IndexError, ValueError) as error:
                raise _broken() from error
            _refuse_huge(kind, width, height)
            return kind
    raise invalid("photo", "This is no photo that can be read here. Send a JPEG, PNG or WebP, as phones take them.")


def _read(photo: bytes, kind: str) -> list[str]:
    import zxingcpp  # the image libraries are loaded where they are used
    from PIL import Image

    try:
        with Image.open(BytesIO(photo), formats=[kind]) as image:
            _refuse_huge(kind, *image.size)
            small = _small(*image.size)
            image.draft("L", small)
            gray = image.convert("L")
    except Invalid:
        raise
    except (OSError, SyntaxError, ValueError, EOFError, IndexError, struct.error) as error:
        raise _broken() from error
    gray.thumbnail(small)
    symbols = zxingcpp.read_barcodes(gray, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    return list(dict.fromkeys(each.text for each in symbols))


def _small(width: int, height: int) -> tuple[int, int]:
    share = min(1.0, (READ_AT / (width * height)) ** 0.5)
    return max(1, int(width * share)), max(1, int(height * share))


def _refuse_huge(kind: str, width: int, height: int) -> None:
    if width * height > MOST_PIXELS[kind]:
        raise invalid(
            "photo",
            f"This photo has {width} x {height} pixels, more than can be read here. Take a smaller one.",
        )
    if not width or not height:
        raise _broken()


def _broken() -> Invalid:
    return invalid("photo", "This photo is broken or not all of it arrived. Take it again, or type the code.")


def _jpeg_size(photo: bytes) -> tuple[int, int]:
    """From the frame header, ITU-T T.81 (JPEG), table B.1 and section B.2.2."""
    if photo.count(b"\xff\xda") > _MOST_SCANS:
        raise ValueError("too many scans")
    at = 2
    while True:
        while photo[at + 1] == 0xFF:  # fill bytes
            at += 1
        mark, marker = photo[at], photo[at + 1]
        if mark != 0xFF or marker in (0xD9, 0xDA):
            raise ValueError("no frame header")
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack_from(">HH", photo, at + 5)
            return width, height
        at += 2 + struct.unpack_from(">H", photo, at + 2)[0]


def _png_size(photo: bytes) -> tuple[int, int]:
    """From the IHDR chunk, which comes first (PNG specification, section 11.2.1)."""
    if photo[12:16] != b"IHDR":
        raise ValueError("no header")
    width, height = struct.unpack_from(">II", photo, 16)
    return width, height


def _webp_size(photo: bytes) -> tuple[int, int]:
    """From the first chunk (RFC 9649, section 2); moving pictures are refused."""
    chunk = photo[12:16]
    if chunk == b"VP8X":
        if photo[20] & 0x02:
            raise ValueError("a moving picture")
        return 1 + int.from_bytes(photo[24:27], "little"), 1 + int.from_bytes(photo[27:30], "little")
    if chunk == b"VP8L":
        bits = int.from_bytes(photo[21:25], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if chunk == b"VP8 ":
        width, height = struct.unpack_from("<HH", photo, 26)
        return width & 0x3FFF, height & 0x3FFF
    raise ValueError("no picture")


_KINDS: tuple[tuple[str, Callable[[bytes], bool], Callable[[bytes], tuple[int, int]]], ...] = (
    ("JPEG", lambda photo: photo.startswith(b"\xff\xd8\xff"), _jpeg_size),
    ("PNG", lambda photo: photo.startswith(b"\x89PNG\r\n\x1a\n"), _png_size),
    ("WEBP", lambda photo: photo[:4] == b"RIFF" and photo[8:12] == b"WEBP", _webp_size),
)
