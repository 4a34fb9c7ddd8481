"""QR symbols on tags: their content, the size of their squares, and when they cannot be read. Pure.

The address is in capitals, which a QR symbol holds in little more than half the room (ISO/IEC 18004, alphanumeric
mode). Level Q: on a worn tag it is read twice as often as M, and H needs a finer grid.

>>> grid("HTTPS://CABLES.EXAMPLE.ORG/T/7K3M9Q")
Grid(version=3, modules=29)
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal
from urllib.parse import urlsplit

from service.kit.problems import Problem

QUIET_MODULES = 4
"""ISO/IEC 18004: the white margin that every symbol needs, on each side."""
LEAST_MODULE = 0.40
"""Millimeters. Four dots of a 300 dpi printer and a bit, as guides for phones advise."""
_DARK = re.compile(b"\x01+")
_MASK = 0
"""The mask is fixed, since trying all eight takes six times as long, and every reader can decode any of them."""


class CannotPrint(Problem):
    """Tags cannot be printed with these settings."""

    status = 409
    title = "Tags cannot be printed yet"


@dataclass(frozen=True)
class Grid:
    """The size of a symbol: its version and the number of squares on a side, without the quiet zone."""

    version: int
    modules: int

    @property
    def across(self) -> int:
        """The number of squares on a side, with the quiet zone."""
        return self.modules + 2 * QUIET_MODULES

    @property
    def least_side(self) -> float:
        """The smallest side in millimeters, with the quiet zone, that can be read."""
        return self.across * LEAST_MODULE


def tag_url(base_url: str | None, code: str) -> str:
    """The text of a tag's QR: the address of its page, in capitals.

    Raises:
        CannotPrint: no address is set, or it has a path, which capitals would change.
    """
    if base_url is None:
        raise CannotPrint(
            "Tags carry the address of this service, and none is set. Start Coilbook with COILBOOK_BASE_URL set "
            "to the address that phones reach it by, like https://cables.example.org."
        )
    if urlsplit(base_url).path:
        raise CannotPrint(f"COILBOOK_BASE_URL must be a host without a path for tags to work; it is {base_url}.")
    return f"{base_url}/t/{code}".upper()


def grid(url: str) -> Grid:
    """The size of the smallest symbol of level Q for an address.

    Raises:
        CannotPrint: none does.
    """
    from qrcode.util import QRData  # imported here, because only printing needs the library

    data = QRData(url)
    return _grid(data.mode, len(data))


@lru_cache(maxsize=16)  # the same for all addresses of this length, and finding it takes as long as drawing
def _grid(mode: Literal[1, 2, 4], length: int) -> Grid:
    from qrcode import ERROR_CORRECT_Q, QRCode
    from qrcode.exceptions import DataOverflowError
    from qrcode.util import QRData

    code = QRCode(error_correction=ERROR_CORRECT_Q)
    code.add_data(QRData(b"0" * length, mode))
    try:
        version = code.best_fit()
    except (DataOverflowError, ValueError) as error:
        raise CannotPrint(
            f"The address in COILBOOK_BASE_URL is {length} characters long, too long for a QR code. "
            "Use a shorter host name."
        ) from error
    return Grid(version, 17 + 4 * version)


def matrix(url: str, symbol: Grid) -> list[list[bool]]:
    """The squares of an address's symbol, of the size that `grid` found, row by row, dark
    ones True, without the quiet zone."""
    from qrcode import ERROR_CORRECT_Q, QRCode
    from qrcode.util import QRData

    code = QRCode(symbol.version, error_correction=ERROR_CORRECT_Q, border=0, mask_pattern=_MASK)
    code.add_data(QRData(url))
    code.make(fit=False)
    return code.get_matrix()


def runs(cells: Iterable[bool]) -> list[tuple[int, int]]:
    """The start and length of each run of dark squares in a row."""
    return [(run.start(), run.end() - run.start()) for run in _DARK.finditer(bytes(cells))]


def module(side: float, symbol: Grid) -> float:
    """The side of one square in millimeters, if the symbol with its quiet zone is `side` millimeters wide.

    Raises:
        CannotPrint: too small to be read, since the address is long or the label small.
    """
    width = side / symbol.across
    if width < LEAST_MODULE - 1e-9:
        raise CannotPrint(
            f"The QR code of the address in COILBOOK_BASE_URL needs {symbol.least_side:.1f} mm to be read, and this "
            f"label leaves it {side:.1f} mm. Choose larger labels, or use a shorter host name."
        )
    return width


def refuse_on_curve(side: float, around: float) -> None:
    """Refuse a symbol on something round that is wider, with its quiet zone, than that is thick (both in millimeters).

    Wider ones bend out of sight: in simulated shots (an orthographic camera, zxing-cpp as decoder) all decoded at
    1.0 x the diameter, and most were lost at 1.3 x.

    Raises:
        CannotPrint: it is wider.
    """
    if side > around:
        raise CannotPrint(
            f"A QR code of {side:.1f} mm cannot be read round something {around:g} mm thick. Use a flag, which "
            "stands off it flat, or a wrap, which has the code in letters."
        )
