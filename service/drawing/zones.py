"""Where across a drawing things go: words first, then breaks and joints by the end that they are at. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from service.drawing.findings import SIGNS, Findings

A_CONTACT, B_CONTACT = 29.0, 291.0
"""The middles of the contacts of either end."""

_TEXT, _NEAR_A, _NEAR_B, _FAR_B = 58.0, 65.0, 254.0, 264.0
_WORDS = 116.0
"""The room for words on a line."""
_LEAD = 20.0
"""The room for lines that come to their row from another contact of end A."""
_RING, _COLUMNS = 13.0, 18.0
"""Half the width of a ring, and the width of all columns of joints together."""

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Zones:
    """Where words start, where lines go over to other rows and have arrived, where signs and joints are.

    `led` is where a line from another contact of end A has come to its row.
    """

    led: float
    text: float
    words_end: float
    over: float
    across: float
    sign: dict[str | None, float]
    joint: dict[str | None, float]


def zones_of(seen: Findings) -> Zones:
    """Only as much room for signs and joints as this drawing needs; joints are nearer to their end than signs."""
    joined = {join.end for join in seen.joins}
    many = {end for end in joined if sum(join.end == end for join in seen.joins) > 1}
    signed = {
        fault.end for conductor in seen.wires.values() for fault in conductor.faults if fault.fault_class in SIGNS
    }
    room = {end: (_COLUMNS if end in many else 0) + (_RING if end in joined else 0) for end in ("A", "B", None)}
    lead = _LEAD if any(fault.is_chain and fault.end == "A" for fault in seen.faults) else 0.0
    near_a = _NEAR_A + lead
    sign_a = near_a + (room["A"] + _RING if "A" in joined else 4)
    sign_b = _NEAR_B - (room["B"] + _RING if "B" in joined else 0)
    text = sign_a + _RING + 3 if "A" in signed else near_a + room["A"] + 3 if "A" in joined else _TEXT + lead
    before_b = sign_b - _RING if "B" in signed else _NEAR_B - room["B"] if "B" in joined else _FAR_B
    middle = min(text + _WORDS + _RING, before_b - room[None] - (2 * _RING if None in signed else 0) - 16)
    sign_mid = middle + (room[None] + _RING if None in joined else 0)
    over = sign_mid + _RING if None in signed else middle + room[None] if None in joined else middle - _RING
    return Zones(
        led=_TEXT - 6 + lead,
        text=text,
        words_end=text + _WORDS,
        over=over,
        across=before_b,
        sign={"A": sign_a, None: sign_mid, "B": sign_b},
        joint={"A": near_a, None: middle, "B": _NEAR_B},
    )


def columns(spans: Sequence[tuple[str | None, Span]]) -> Iterable[float]:
    """How far from its end each joint stands: those whose rows meet stand beside each other."""
    placed: list[int] = []
    for at, (end, (top, bottom)) in enumerate(spans):
        beside = {
            placed[before]
            for before, (other, (first, last)) in enumerate(spans[:at])
            if other == end and first <= bottom and top <= last
        }
        placed.append(next(column for column in range(len(spans)) if column not in beside))
    pitch = min(11.0, _COLUMNS / max([1, *placed]))
    return [column * pitch for column in placed]
