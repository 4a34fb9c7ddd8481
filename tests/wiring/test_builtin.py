import pytest

from service.wiring.builtin import BUILTIN
from service.wiring.wirings import Wiring

AES59 = {
    "hot": (24, 10, 21, 7, 18, 4, 15, 1),
    "cold": (12, 23, 9, 20, 6, 17, 3, 14),
    "shield": (25, 11, 22, 8, 19, 5, 16, 2),
}
"""AES59 as an encyclopedia's table gives it, channels 1 to 8; contacts 22 to 25 from memory."""

T568 = (3, 3, 2, 1, 1, 2, 4, 4), (2, 2, 3, 1, 1, 3, 4, 4)
"""TIA-568: the pair of each contact 1 to 8, T568A and T568B."""


def links(made: Wiring) -> dict[str, tuple[str, str, str]]:
    return {wire.name: (wire.a, wire.b, wire.role) for wire in made.conductors}


def test_the_three_contact_connector_is_shield_hot_cold() -> None:
    """Three-contact audio connector: 1 shield, 2 hot, 3 cold (a pinout reference, a theatre-sound glossary)."""
    assert links(BUILTIN["xlr3"]) == {
        "1": ("A1", "B1", "shield"),
        "2": ("A2", "B2", "hot"),
        "3": ("A3", "B3", "cold"),
    }


def test_the_plug_is_tip_hot_ring_cold_sleeve_shield() -> None:
    """Common practice, no source."""
    assert links(BUILTIN["trs"]) == {
        "T": ("AT", "BT", "hot"),
        "R": ("AR", "BR", "cold"),
        "S": ("AS", "BS", "shield"),
    }
    assert links(BUILTIN["xlr3-to-trs"]) == {
        "1": ("A1", "BS", "shield"),
        "2": ("A2", "BT", "hot"),
        "3": ("A3", "BR", "cold"),
    }
    assert BUILTIN["trs"].contacts("A") == ("AT", "AR", "AS", "As")


@pytest.mark.parametrize("key", ["d25x8", "d25-to-xlr8", "d25x8-screened"])
def test_the_25_way_follows_aes59(key: str) -> None:
    lanes = BUILTIN[key].lanes
    assert list(lanes) == [str(number) for number in range(1, 9)]
    for role, contacts in AES59.items():
        for lane, contact in enumerate(contacts, start=1):
            wire = next(wire for wire in lanes[str(lane)] if wire.role == role)
            far = {"shield": 1, "hot": 2, "cold": 3}[role]
            assert wire.a == f"A{contact}"
            assert wire.b == (f"B{lane}.{far}" if key == "d25-to-xlr8" else f"B{contact}")
    assert "A13" in BUILTIN[key].loose_contacts


@pytest.mark.parametrize("standard", T568)
@pytest.mark.parametrize("key", ["8p8c", "8p8c-to-xlr4", "8p8c-screened"])
def test_the_8p8c_pairs_are_those_of_t568(key: str, standard: tuple[int, ...]) -> None:
    pairs = {frozenset(wire.name for wire in pair) for pair in BUILTIN[key].pairs.values()}
    number = {str(contact): pair for contact, pair in enumerate(standard, start=1)}
    assert pairs == {frozenset(n for n in number if number[n] == pair) for pair in range(1, 5)}
    assert all((wire.role == "hot") == (int(wire.name) % 2 == 1) for wire in BUILTIN[key].conductors if wire.pair)


def test_the_screen_of_an_8p8c_feeds_every_contact_1() -> None:
    made = BUILTIN["8p8c-to-xlr4"]
    screens = [wire for wire in made.conductors if wire.role == "shield"]
    assert [(wire.name, wire.a, wire.b) for wire in screens] == [
        (f"s{lane}", "As", f"B{lane}.1") for lane in range(1, 5)
    ]
    assert [[wire.name for wire in lane] for lane in made.lanes.values()] == [
        ["1", "2", "s1"],
        ["3", "6", "s2"],
        ["4", "5", "s3"],
        ["7", "8", "s4"],
    ]
    assert made.by_name["5"].b == "B3.2"


def test_shells_belong_to_no_conductor_unless_screened_or_bonded() -> None:
    assert BUILTIN["xlr3"].loose_contacts == ("As", "Bs")
    assert BUILTIN["xlr3-lifted"].loose_contacts == ("A1", "As", "B1", "Bs")
    assert [(bond.earlier, bond.later) for bond in BUILTIN["xlr3-bonded"].bonds] == [
        ("A1", "As"),
        ("B1", "Bs"),
    ]
    for key in ("d25x8-screened", "8p8c-screened"):
        assert links(BUILTIN[key])["s"] == ("As", "Bs", "shield")
        assert BUILTIN[key].by_name["s"].lane is None


@pytest.mark.parametrize("count", [4, 8])
def test_side_by_side_lines_run_lane_by_lane(count: int) -> None:
    made = BUILTIN[f"xlr3x{count}"]
    assert links(made) == {
        f"{lane}.{contact}": (f"A{lane}.{contact}", f"B{lane}.{contact}", role)
        for lane in range(1, count + 1)
        for contact, role in ((1, "shield"), (2, "hot"), (3, "cold"))
    }
    assert len(made.all_contacts) == 8 * count


def test_shells_come_last_on_their_connector_and_contacts_by_number() -> None:
    assert BUILTIN["d25x8"].contacts("A") == (*(f"A{number}" for number in range(1, 26)), "As")
    assert BUILTIN["d25-to-xlr8"].contacts("B")[:5] == ("B1.1", "B1.2", "B1.3", "B1.s", "B2.1")
