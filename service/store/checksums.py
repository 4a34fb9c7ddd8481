"""Checksums of backups: a file's SHA-256 beside it, as `sha256sum --check` reads it.

SQLite's own check finds a malformed page, but not a letter that changed into another one on an old memory stick.
"""

import hashlib
from collections.abc import Iterator
from pathlib import Path

from service.store.files import put_in_place

_ENDS = ".sha256"


def checksum_file_of(path: Path) -> Path:
    """The path of the checksum file that belongs to a file, whether or not it exists."""
    return path.with_name(f"{path.name}{_ENDS}")


def file_of_checksum(checksum: Path) -> Path:
    """The path of the file that a checksum file belongs to."""
    return checksum.with_name(checksum.name.removesuffix(_ENDS))


def list_checksum_files(folder: Path) -> Iterator[Path]:
    """The checksum files in a folder of backups."""
    return folder.glob(f"coilbook-*.db{_ENDS}")


def write_checksum(part: Path, path: Path) -> None:
    """Write the checksum of the content of `part` for `path`, the name that the file is about to get."""
    written = path.with_name(f".{path.name}{_ENDS}.part")
    written.write_text(f"{_digest(part)}  {path.name}\n")
    put_in_place(written, checksum_file_of(path))


def has_wrong_checksum(path: Path) -> bool:
    """Whether a file has a checksum file and does not match it."""
    beside = checksum_file_of(path)
    return beside.is_file() and beside.read_bytes().split(None, 1)[:1] != [_digest(path).encode()]


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
