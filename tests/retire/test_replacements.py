"""Replacements: all at once, the same as the best of all ways to give spares to items."""

from itertools import permutations
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from service.retire.lists.core import FittingPiece, Spare, assigned, fillable, fits
from tests.support.examples import examples

MALE = (("A", 1, "xlr3", "socket"), ("B", 1, "xlr3", "plug"))
ODD = (("A", 1, "xlr3", "plug"), ("B", 1, "xlr3", "plug"))


def piece(
    number: int, length: int, wiring: str = "xlr3", ports: tuple[tuple[str, int, str, str], ...] = MALE
) -> FittingPiece:
    return FittingPiece(UUID(int=number), f"C{number:05}", "cable", wiring, ports, length)


def test_what_fits() -> None:
    item = piece(1, 3048)
    assert fits(piece(2, 3048), item)
    assert fits(piece(2, 9000), item)
    assert not fits(piece(2, 3047), item)
    assert not fits(piece(2, 3048, "trs"), item)
    assert not fits(piece(2, 3048, ports=ODD), item)


ITEMS = st.lists(st.tuples(st.integers(1, 5), st.sampled_from(["xlr3", "trs"])), max_size=4)
SPARES = st.lists(st.tuples(st.integers(1, 5), st.sampled_from(["xlr3", "trs"]), st.integers(0, 3)), max_size=4)


@given(ITEMS, SPARES, st.randoms())
@examples(60)
def test_no_other_way_is_better(items: list[tuple[int, str]], spares: list[tuple[int, str, int]], random) -> None:  # type: ignore[no-untyped-def]
    needs = [piece(number, *told) for number, told in enumerate(items)]
    offered = [Spare(piece(100 + number, length, wiring), days) for number, (length, wiring, days) in enumerate(spares)]
    found = assigned(needs, offered)
    by_id = {spare.piece.id: spare for spare in offered}
    assert len(set(found.values())) == len(found)
    assert all(fits(by_id[found[need.id]].piece, need) for need in needs if need.id in found)

    def cost(pairs: list[tuple[FittingPiece, Spare]]) -> tuple[int, int, int]:
        excess = sum(spare.piece.length_mm - need.length_mm for need, spare in pairs)
        return -len(pairs), excess, sum(spare.passed_days for _, spare in pairs)

    mine = cost([(need, by_id[found[need.id]]) for need in needs if need.id in found])
    # reference: every way to deal the spares out, some of them to nobody
    hands: list[Spare | None] = [*offered, *([None] * len(needs))]
    ways = (
        [(need, spare) for need, spare in zip(needs, hand, strict=True) if spare and fits(spare.piece, need)]
        for hand in permutations(hands, len(needs))
    )
    assert mine == min(map(cost, ways))
    random.shuffle(needs)
    random.shuffle(offered)
    assert assigned(needs, offered) == found  # whatever order they come in


@given(st.lists(st.integers(1, 5), max_size=5), st.lists(st.integers(1, 5), max_size=4))
def test_who_comes_first_is_filled_if_it_can_be(lengths: list[int], cases: list[int]) -> None:
    needs = [piece(number, length) for number, length in enumerate(lengths)]
    spares = [Spare(piece(100 + number, length), 0) for number, length in enumerate(cases)]
    chosen = fillable(needs, spares)
    assert len(assigned(chosen, spares)) == len(chosen)
    before: list[FittingPiece] = []
    for need in needs:  # reference: one by one, with the assignment itself
        if len(assigned([*before, need], spares)) == len(before) + 1:
            before.append(need)
    assert chosen == before


def test_hundreds_are_dealt_out_exactly() -> None:
    needs = [piece(number, 1000 + number) for number in range(300)]
    spares = [Spare(piece(1000 + number, 1000 + number), number % 400) for number in range(300)]
    found = assigned(needs, spares)
    assert [found[need.id].int for need in needs] == list(range(1000, 1300))
