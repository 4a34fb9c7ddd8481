"""Checksums of backups: a file's SHA-256 beside it, as `sha256sum --check` reads it.

SQLite's own check sees a page that is no page, but not a letter that became another one on an old memory stick.
"""

import hashlib
from collections.abc import Iterator
from pathlib import Path

from service.store.files import put_in_place

_ENDS = ".sha256"


def seal_of(path: Path) -> Path:
    """The path of a file's checksum, whether or not it exists."""
    return path.with_name(f"{path.name}{_ENDS}")


def sealed(seal: Path) -> Path:
    """The file that a checksum belongs to."""
    return seal.with_name(seal.name.removesuffix(_ENDS))


def checksum_files(folder: Path) -> Iterator[Path]:
    """The checksum files of backups in a folder."""
    return folder.glob(f"coilbook-*.db{_ENDS}")


def seal(part: Path, path: Path) -> None:
    """Seal what is in `part` now under the name that it is about to get, for good."""
    written = path.with_name(f".{path.name}{_ENDS}.part")
    written.write_text(f"{_digest(part)}  {path.name}\n")
    put_in_place(written, seal_of(path))


def broken(path: Path) -> bool:
    """Whether a file has a checksum and does not match it."""
    beside = seal_of(path)
    return beside.is_file() and beside.read_bytes().split(None, 1)[:1] != [_digest(path).encode()]


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
