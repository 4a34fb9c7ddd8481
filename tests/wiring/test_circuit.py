import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.wiring import circuit
from service.wiring.circuit import node_volts, solve


def test_the_example_in_the_module_is_true() -> None:
    assert doctest.testmod(circuit) == (0, 2)


@pytest.mark.parametrize(("milliamps", "volts"), [(2, 41.19), (5, 30.98), (7, 24.17), (10, 13.95)])
def test_a_loaded_supply_of_two_legs(milliamps: float, volts: float) -> None:
    # Ohm's law, 48 V less I x 3405 ohm; the load stands as the resistance that draws I at that voltage.
    load = volts / milliamps * 1000
    network = [("plus", "2", 6810.0), ("plus", "3", 6810.0), ("2", "3", 1e-3), ("3", "ground", load)]
    assert node_volts(network, {"plus": 48, "ground": 0})["3"] == pytest.approx(volts, abs=0.01)


def test_a_balanced_bridge_shows_nothing_across() -> None:
    # Wheatstone's condition: arms in equal ratio, whatever joins the middle.
    arms = [
        ("plus", "left", 100.0),
        ("left", "ground", 200.0),
        ("plus", "right", 50.0),
        ("right", "ground", 100.0),
    ]
    volts = node_volts([*arms, ("left", "right", 7.0)], {"plus": 3, "ground": 0})
    assert volts["left"] == pytest.approx(2)
    assert volts["right"] == pytest.approx(2)


def test_a_node_that_nothing_holds_sits_at_zero() -> None:
    assert node_volts([("2", "3", 10.0)], {"ground": 0}) == pytest.approx({"2": 0, "3": 0, "ground": 0})


ENTRIES = st.floats(-1, 1)


@given(
    rows=st.lists(st.lists(ENTRIES, min_size=4, max_size=4), min_size=4, max_size=4),
    wanted=st.lists(ENTRIES, min_size=4, max_size=4),
)
def test_solve_undoes_multiplication(rows: list[list[float]], wanted: list[float]) -> None:
    for at, row in enumerate(rows):  # a strong diagonal in a turned order: regular, and in need of pivots
        row[(at + 1) % 4] += 8
    right = [sum(entry * x for entry, x in zip(row, wanted, strict=True)) for row in rows]
    assert solve([list(row) for row in rows], right) == pytest.approx(wanted, abs=1e-9)
