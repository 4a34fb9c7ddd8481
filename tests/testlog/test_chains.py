"""Chains of pieces: what can be plugged, and what a refusal says: API, test form and lanes page alike."""

from itertools import pairwise, product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.gear.core import KINDS
from service.gear.models import Port
from service.gear.wirings import ports_of
from service.kit.problems import Invalid
from service.testlog.chains import piece_of
from service.testlog.mating import Plug, PluggedPiece, check
from service.wiring.builtin import BUILTIN
from tests.support.examples import examples
from tests.support.program import Running, op
from tests.testlog.support import GOOD, Bench, bench

XLR_SOCKET, XLR_PLUG = Plug("xlr3", "XLR", "socket"), Plug("xlr3", "XLR", "plug")
D25_SOCKET, D25_PLUG = Plug("d25", "25-way D", "socket"), Plug("d25", "25-way D", "plug")
CAT_SOCKET, CAT_PLUG = Plug("8p8c", "8P8C", "socket"), Plug("8p8c", "8P8C", "plug")
EIGHT = Plug("xlr3", "XLR", "socket", 8)
UNTOLD = Plug("d25", "25-way D", None)

ends = st.sampled_from([XLR_SOCKET, XLR_PLUG, D25_SOCKET, D25_PLUG, CAT_SOCKET, CAT_PLUG, EIGHT, UNTOLD])
random_chains = st.lists(st.tuples(ends, ends), min_size=2, max_size=6)


def fits(chain: list[tuple[Plug, Plug]]) -> bool:
    """By trying every way in which the pieces can lie: each gap joins one type, a socket with a plug."""
    for turned in product((False, True), repeat=len(chain)):
        lying = [(b, a) if turn else (a, b) for (a, b), turn in zip(chain, turned, strict=True)]
        gaps = [(here[1], there[0]) for here, there in pairwise(lying)]
        if all(
            one.type == other.type and (one.gender is None or other.gender is None or one.gender != other.gender)
            for one, other in gaps
        ):
            return True
    return False


@examples(120)
@given(random_chains)
def test_what_is_refused_is_what_no_turning_of_the_pieces_plugs(chain: list[tuple[Plug, Plug]]) -> None:
    pieces = [PluggedPiece(f"P{number}", each) for number, each in enumerate(chain)]
    try:
        check(pieces)
    except Invalid as refusal:
        assert not fits(chain)
        told = refusal.errors["through"]
        at = next(at for at in range(1, len(chain)) if not fits(chain[: at + 1]))
        assert told.startswith(f"P{at - 1} and P{at} do not mate: ")
        if "In this order they fit: " in told:
            order = told.split("In this order they fit: ")[1].split(". Begin")[0].split(", ")
            assert fits([chain[int(name[1:])] for name in order])
    else:
        assert fits(chain)


def test_every_built_in_piece_mates_with_the_multicore_that_is_made_for_it() -> None:
    """Hub, multicore and hub; and a fan-out, whose multicore connector comes as either, at either."""

    def piece(kind: str, wiring: str) -> PluggedPiece:
        return piece_of(wiring, kind, [port_row(row) for row in ports_of(wiring, BUILTIN[wiring], kind)])

    of_split = {"d25-to-xlr8": ("d25x8", "d25x8-screened"), "8p8c-to-xlr4": ("8p8c", "8p8c-screened")}
    for split, multicores in of_split.items():
        for trunk in multicores:
            check([piece("hub", split), piece("trunk", trunk), piece("hub", split)])
            check([piece("hub", split), piece("trunk", trunk), piece("trunk", split)])
        check([piece("hub", split), piece("trunk", split)])
        check(
            [
                piece("cable", "xlr3"),
                piece("hub", split),
                piece("trunk", multicores[0]),
                piece("trunk", split),
            ]
        )
    assert set(KINDS) == {"cable", "hub", "trunk"}


def port_row(row: dict[str, Any]) -> Any:
    return Port(**row)


CANNOT = [
    (("d25-to-xlr8", "xlr3", "d25-to-xlr8"), (1, 2), "two XLR sockets do not plug together"),
    (("d25-to-xlr8", "8p8c", "d25-to-xlr8"), (0, 1), "an 8P8C plug"),
    (("d25x8", "8p8c-to-xlr4"), (0, 1), "a 25-way D plug"),
    (("d25x8", "d25x8"), (0, 1), "two 25-way D plugs do not plug together"),
    (("xlr3", "d25x8", "8p8c-to-xlr4"), (0, 1), "a 25-way D plug"),
]


@pytest.mark.parametrize(("wirings", "two", "how"), CANNOT)
def test_a_chain_that_cannot_be_plugged_is_refused_and_changes_nothing(
    program: Running, wirings: tuple[str, ...], two: tuple[int, int], how: str
) -> None:
    at = bench(program, *wirings)
    first, *others = at.codes
    body = {"id": op(), "item": first, "through": others, "joined": GOOD}
    answer = program.crew.post("/api/v1/tests", json=body)
    assert answer.status_code == 422, answer.text
    told = said_of_through(answer.json())
    assert told.startswith(" and ".join(f"{KINDS[kind_of(wirings[one])].page} {at.codes[one]}" for one in two))
    assert how in told
    for page in ("test", "lanes"):
        shown = program.crew.get(f"/t/{first}/{page}", params={"through": " ".join(others)})
        assert shown.status_code == 422
        assert how in shown.text
        assert " ".join(others) in shown.text  # what was scanned is still there, to be put right
        assert 'name="verdict"' not in shown.text
        sent = {"op": op(), "through": " ".join(others), "verdict": "pass", "lane-1": "pass"}
        assert program.crew.post(f"/t/{first}/{page}", data=sent).status_code == 422
    assert program.viewer.get("/api/v1/tests").json()["items"] == []
    assert [at.flags(code) for code in at.codes] == [[]] * len(wirings)


def said_of_through(problem: dict[str, Any]) -> str:
    (said,) = [error["detail"] for error in problem["errors"] if error["field"] == "through"]
    return str(said)


def kind_of(wiring: str) -> str:
    return "cable" if wiring == "xlr3" else "hub" if "-to-" in wiring else "trunk"


def test_the_refusal_says_the_order_that_fits(program: Running) -> None:
    at: Bench = bench(program, "d25x8", "d25-to-xlr8", "d25-to-xlr8")
    trunk, hub, other = at.codes
    body = {"id": op(), "item": trunk, "through": [hub, other], "joined": GOOD}
    told = said_of_through(program.crew.post("/api/v1/tests", json=body).json())
    first, then = f"hub (stage box) {hub}", f"trunk (multicore) {trunk}, hub (stage box) {other}"
    assert f"In this order they fit: {first}, {then}. Begin with {first}." in told
