"""The built-in wirings, each from its published pinout.

Sources: three-contact audio connector 1 shield, 2 hot, 3 cold (IEC 60268-12, AES14); 25-way D after AES59;
the four pairs 1-2, 3-6, 5-4, 7-8 of an 8p8c after T568B of TIA-568 (pairs 2, 3, 1 and 4); quarter-inch plug
tip hot, ring cold, sleeve shield by common practice. End A is the source end; on fan-outs A is the multicore
connector.
"""

from collections.abc import Iterator, Mapping
from typing import Final

from service.wiring.wirings import SHELL, Conductor, Wiring, wiring

AES59: Final = {
    1: (24, 12, 25),
    2: (10, 23, 11),
    3: (21, 9, 22),
    4: (7, 20, 8),
    5: (18, 6, 19),
    6: (4, 17, 5),
    7: (15, 3, 16),
    8: (1, 14, 2),
}
"""AES59: channel to the hot, cold and shield contact of the 25-way D. Contact 13 is not used."""

T568_PAIRS: Final = {"1": (1, 2), "2": (3, 6), "3": (5, 4), "4": (7, 8)}
"""The 8p8c's pairs as this service numbers them, (hot, cold): the odd contact is hot."""

THREE: Final = {"1": "shield", "2": "hot", "3": "cold"}
"""The three-contact connector: contact to role."""

TRS: Final = {"T": "hot", "R": "cold", "S": "shield"}
"""The quarter-inch plug: contact to role."""

_OF_ROLE = {role: contact for contact, role in THREE.items()}
_PLUG = {role: contact for contact, role in TRS.items()}
_D25 = [*(str(number) for number in range(1, 26)), SHELL]
_8P8C = [*(str(number) for number in range(1, 9)), SHELL]


def _single(contacts: Mapping[str, str], far: Mapping[str, str]) -> list[Conductor]:
    """One line: `contacts` of end A by role, `far` the role's contact at end B."""
    return [
        Conductor(name, f"A{name}", f"B{far[role]}", role, pair=None if role == "shield" else "1")
        for name, role in contacts.items()
    ]


def _threes(count: int) -> list[str]:
    """The contacts of `count` three-contact connectors."""
    return [f"{number}.{contact}" for number in range(1, count + 1) for contact in [*THREE, SHELL]]


def _d25(to_connectors: bool) -> Iterator[Conductor]:
    for lane, contacts in AES59.items():
        for role, contact in zip(("hot", "cold", "shield"), contacts, strict=True):
            far = f"B{lane}.{_OF_ROLE[role]}" if to_connectors else f"B{contact}"
            pair = None if role == "shield" else str(lane)
            yield Conductor(str(contact), f"A{contact}", far, role, pair, str(lane))


def _8p8c(to_connectors: bool) -> Iterator[Conductor]:
    for pair, contacts in T568_PAIRS.items():
        for role, contact in zip(("hot", "cold"), contacts, strict=True):
            far = f"B{pair}.{_OF_ROLE[role]}" if to_connectors else f"B{contact}"
            yield Conductor(str(contact), f"A{contact}", far, role, pair, pair if to_connectors else None)
        if to_connectors:
            yield Conductor(f"s{pair}", f"A{SHELL}", f"B{pair}.1", "shield", None, pair)


def _lanes(count: int) -> Wiring:
    """`count` lines side by side: a hub, its multicore and its fan-out seen as one."""
    conductors = [
        Conductor(
            f"{lane}.{contact}",
            f"A{lane}.{contact}",
            f"B{lane}.{contact}",
            role,
            None if role == "shield" else str(lane),
            str(lane),
        )
        for lane in range(1, count + 1)
        for contact, role in THREE.items()
    ]
    return wiring(_threes(count), _threes(count), conductors)


_SCREEN = Conductor(SHELL, f"A{SHELL}", f"B{SHELL}", "shield")
_XLR3 = _single(THREE, _OF_ROLE)
_THREE = [*THREE, SHELL]
_TRS = [*TRS, SHELL]

BUILTIN: Final[Mapping[str, Wiring]] = {
    "xlr3": wiring(_THREE, _THREE, _XLR3),
    "xlr3-bonded": wiring(_THREE, _THREE, _XLR3, [("A1", "As"), ("B1", "Bs")]),
    "xlr3-lifted": wiring(_THREE, _THREE, _XLR3[1:]),
    "trs": wiring(_TRS, _TRS, _single(TRS, _PLUG)),
    "xlr3-to-trs": wiring(_THREE, _TRS, _single(THREE, _PLUG)),
    "d25x8": wiring(_D25, _D25, _d25(to_connectors=False)),
    "d25-to-xlr8": wiring(_D25, _threes(8), _d25(to_connectors=True)),
    "8p8c": wiring(_8P8C, _8P8C, _8p8c(to_connectors=False)),
    "8p8c-to-xlr4": wiring(_8P8C, _threes(4), _8p8c(to_connectors=True)),
    "d25x8-screened": wiring(_D25, _D25, [*_d25(to_connectors=False), _SCREEN]),
    "8p8c-screened": wiring(_8P8C, _8P8C, [*_8p8c(to_connectors=False), _SCREEN]),
    "xlr3x8": _lanes(8),
    "xlr3x4": _lanes(4),
}
"""Every built-in wiring by its key."""
