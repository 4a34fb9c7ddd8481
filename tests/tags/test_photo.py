"""What is sent instead of a photo: refused with a sentence, in bounded memory, and never an exception."""

import io
import struct
import subprocess
import sys
import threading
import zlib
from pathlib import Path
from random import Random

import pytest
from PIL import Image

from service.kit.problems import Busy, Invalid
from service.tags import photo as reader
from service.tags.photo import MOST_AT_ONCE, read_photo
from tests.tags.images import encoded, scene, symbol

TEXT = "HTTPS://CABLES.EXAMPLE.ORG/T/7K3M9U"
GOOD = {kind: encoded(scene(symbol(TEXT), size=(640, 480)), kind) for kind in ("JPEG", "PNG", "WEBP")}
MEMORY = 400_000_000
"""Bytes of address space above what the program has when it starts."""


def chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def png(width: int, height: int, rows: bytes = b"") -> bytes:
    """A PNG that says it is so large, whatever it holds."""
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


def jpeg(width: int, height: int) -> bytes:
    """A JPEG whose frame header says that it is so large."""
    at = GOOD["JPEG"].index(b"\xff\xc0") + 5
    return GOOD["JPEG"][:at] + struct.pack(">HH", height, width) + GOOD["JPEG"][at + 4 :]


def moving() -> bytes:
    """A WebP of several pictures."""
    file = io.BytesIO()
    frames = [Image.new("RGB", (64, 64), shade) for shade in ("red", "blue")]
    frames[0].save(file, "WEBP", save_all=True, append_images=frames[1:], duration=100)
    return file.getvalue()


HOSTILE = {
    "empty": b"",
    "text": b"GIF, honestly",
    "html": b"<!doctype html><script>alert(1)</script>",
    "gif": encoded(Image.new("P", (9, 9)), "GIF"),
    "bmp": encoded(Image.new("RGB", (9, 9)), "BMP"),
    "tiff": encoded(Image.new("RGB", (9, 9)), "TIFF"),
    "pdf": b"%PDF-1.7\n",
    "svg": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    "postscript": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n",
    "huge png": png(50_000, 50_000),
    "wide png": png(2_000_000_000, 1),
    "png of nothing": png(0, 10),
    "png without data": png(64, 64),
    "png head alone": b"\x89PNG\r\n\x1a\n",
    "huge jpeg": jpeg(65_500, 65_500),
    "jpeg of nothing": jpeg(0, 0),
    "jpeg head alone": b"\xff\xd8\xff",
    "jpeg of fill bytes": b"\xff\xd8" + b"\xff" * 100_000,
    "jpeg of endless segments": b"\xff\xd8" + b"\xff\xe0\x00\x02" * 100_000,
    "jpeg of many scans": GOOD["JPEG"][:-2] + b"\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00" * 5_000 + b"\xff\xd9",
    "moving webp": moving(),
    "huge webp": b"RIFF\x1e\x00\x00\x00WEBPVP8X\x0a\x00\x00\x00\x00\x00\x00\x00\xff\xff\xff\xff\xff\xff",
    "webp head alone": b"RIFF\x04\x00\x00\x00WEBP",
    "webp of a strange chunk": b"RIFF\x0c\x00\x00\x00WEBPABCD" + bytes(16),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_no_photo_is_refused_with_a_sentence(name: str) -> None:
    with pytest.raises(Invalid) as refusal:
        read_photo(HOSTILE[name])
    assert refusal.value.errors["photo"].endswith(".")


@pytest.mark.parametrize("kind", GOOD)
def test_a_photo_that_arrived_in_part_is_refused(kind: str) -> None:
    for share in (0.1, 0.3, 0.6):
        part = GOOD[kind][: int(len(GOOD[kind]) * share)]
        with pytest.raises(Invalid, match="broken"):
            read_photo(part)


@pytest.mark.parametrize("kind", GOOD)
def test_flipped_bits_never_break_the_reader(kind: str) -> None:
    source = Random(3)
    for _ in range(150):
        bad = bytearray(GOOD[kind])
        for _ in range(source.randint(1, 12)):
            at = min(int(source.expovariate(1 / 300)), len(bad) - 1)  # headers most of all
            bad[at] ^= 1 << source.randrange(8)
        try:
            texts = read_photo(bytes(bad))
        except Invalid:
            continue
        assert texts in ([], [TEXT])


@pytest.mark.parametrize("kind", GOOD)
def test_a_file_that_is_two_things_is_read_as_the_picture_that_it_begins_as(kind: str) -> None:
    assert read_photo(GOOD[kind] + b"<script>alert(1)</script>PK\x03\x04") == [TEXT]
    with pytest.raises(Invalid, match="no photo"):
        read_photo(b"PK\x03\x04" + GOOD[kind])


def test_what_a_camera_wrote_about_place_and_time_is_not_looked_at() -> None:
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (39.0, 57.0, 0.0)}
    exif[0x0112] = 6
    photo = encoded(scene(symbol(TEXT), size=(640, 480)), "JPEG", exif=exif)
    broken = photo.replace(b"Exif\x00\x00", b"Exif\x00\x00\xff\xff", 1)
    assert read_photo(photo) == [TEXT]
    assert read_photo(broken[:20] + photo[20:]) == [TEXT]


MEASURE = """
import resource, sys
from service.kit.problems import Invalid
from service.tags.photo import read_photo
import zxingcpp
from PIL import Image, JpegImagePlugin, PngImagePlugin, WebPImagePlugin
data = open(sys.argv[1], "rb").read()
with open("/proc/self/statm") as statm:
    held = int(statm.read().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (held + int(sys.argv[2]),) * 2)
try:
    print(read_photo(data))
except Invalid as refusal:
    print(refusal.detail)
"""


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="reads the size of the process as Linux tells it")
@pytest.mark.parametrize("name", ["huge png", "bomb of a png", "huge jpeg", "huge webp", "largest jpeg", "largest png"])
def test_memory_is_bounded(name: str, tmp_path: Path) -> None:
    largest = {
        "largest jpeg": lambda: encoded(Image.new("RGB", (6_300, 4_700), "white"), "JPEG"),
        "bomb of a png": lambda: png(4_000, 3_900, bytes(4_001 * 3_900 * 20)),
        "largest png": lambda: encoded(Image.new("RGB", (4_600, 3_400), "white"), "PNG"),
    }
    file = tmp_path / "photo"
    file.write_bytes(largest[name]() if name in largest else HOSTILE[name])
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(file), str(MEMORY)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]" if name in largest else done.stdout.strip().endswith(".")


def test_more_photos_than_can_be_read_at_once_are_told_to_wait() -> None:
    with reader._slot(), reader._slot():
        assert MOST_AT_ONCE == 2
        with pytest.raises(Busy, match="Send it again"):
            read_photo(GOOD["JPEG"])
    assert read_photo(GOOD["JPEG"]) == [TEXT]


def test_a_slot_is_given_back_whatever_happens() -> None:
    for name in HOSTILE:
        with pytest.raises(Invalid):
            read_photo(HOSTILE[name])
    threads = [threading.Thread(target=read_photo, args=(GOOD["PNG"],)) for _ in range(2 * MOST_AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert read_photo(GOOD["PNG"]) == [TEXT]
