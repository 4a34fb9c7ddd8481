import doctest
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.wiring import copper
from service.wiring.copper import LoopState
from service.wiring.faults import FaultClass

FEET_PER_METER = 1 / 0.3048

# A university physics table of AWG resistances, ohm per 1000 ft at 20 °C.
PUBLISHED_OHM_PER_1000_FT = {20: 10.15, 22: 16.14, 23: 20.36, 24: 25.67, 26: 40.81, 28: 64.90}
# NBS Handbook 100 (1966) from diameters rounded to 0.1 mil: from memory; tables differ by up to 1 %.
ROUNDED_OHM_PER_1000_FT = {20: 10.13, 22: 16.20, 23: 20.30, 24: 25.67, 26: 41.02, 28: 65.33}
# Recomputed from ASTM B258 and 1.7241e-8 ohm m: mm, mm², ohm/km at 20, 0 and 40 °C.
RECOMPUTED = {
    20: (0.81182, 0.51762, 33.308, 30.690, 35.926),
    22: (0.64380, 0.32553, 52.962, 48.799, 57.125),
    23: (0.57332, 0.25816, 66.784, 61.535, 72.033),
    24: (0.51056, 0.20473, 84.213, 77.594, 90.832),
    26: (0.40489, 0.12876, 133.904, 123.379, 144.429),
    28: (0.32109, 0.08098, 212.916, 196.181, 229.651),
}
# IEC 60228 factors to bring a reading to 20 °C, as reproduced by cable makers; they round alpha to 0.004.
IEC_60228_FACTOR = {5: 1.064, 10: 1.042, 15: 1.020, 25: 0.980, 30: 0.962, 40: 0.926}


def test_the_example_in_the_module_is_true() -> None:
    assert doctest.testmod(copper) == (0, 1)


@pytest.mark.parametrize(("awg", "ohm"), PUBLISHED_OHM_PER_1000_FT.items())
def test_resistance_agrees_with_a_physics_table(awg: int, ohm: float) -> None:
    assert copper.milliohm_per_meter(awg) / FEET_PER_METER == pytest.approx(ohm, rel=5e-4)


@pytest.mark.parametrize(("awg", "ohm"), ROUNDED_OHM_PER_1000_FT.items())
def test_resistance_agrees_with_rounded_tables_within_a_percent(awg: int, ohm: float) -> None:
    assert copper.milliohm_per_meter(awg) / FEET_PER_METER == pytest.approx(ohm, rel=0.01)


@pytest.mark.parametrize(("awg", "row"), RECOMPUTED.items())
def test_the_whole_chain_of_formulae(awg: int, row: tuple[float, ...]) -> None:
    diameter, area, cool, freezing, hot = row
    assert copper.diameter_mm(awg) == pytest.approx(diameter, abs=6e-6)
    assert copper.area_mm2(awg) == pytest.approx(area, abs=6e-6)
    assert copper.milliohm_per_meter(awg) == pytest.approx(cool, rel=5e-5)
    assert copper.milliohm_per_meter(awg, 0) == pytest.approx(freezing, rel=5e-5)
    assert copper.milliohm_per_meter(awg, 40) == pytest.approx(hot, rel=5e-5)


def test_the_gauge_is_fixed_by_its_two_definitions() -> None:
    # ASTM B258: 36 AWG is 0.005 inch; 39 steps thicker would be 92 times that, the 4/0 that we do not offer.
    assert copper.diameter_mm(36) == pytest.approx(0.127)
    assert copper.diameter_mm(10) / copper.diameter_mm(16) == pytest.approx(92 ** (6 / 39))


@pytest.mark.parametrize(("celsius", "factor"), IEC_60228_FACTOR.items())
def test_temperature_agrees_with_iec_60228(celsius: int, factor: float) -> None:
    assert 1 / copper.temperature_factor(celsius) == pytest.approx(factor, abs=0.0025)


def test_the_band_goes_up_to_what_iec_60228_grants_flexible_wire() -> None:
    # IEC 60228 as reproduced by cable makers: 0.5 mm² has 36.0 milliohm/m at most solid, 39.0 flexible.
    assert copper.RESISTIVITY / 0.5 < 36.0 < copper.RESISTIVITY / 0.5 * copper.MOST_OVER == pytest.approx(39.0)


def test_a_loop_is_twice_the_length_and_contacts_are_in_the_band() -> None:
    # Constructed: 10 m of 24 AWG, 2 x 10 x 84.213.
    check = copper.loop_check(1700, 10_000, 24)
    assert check.expected == pytest.approx(1684.3, abs=0.1)
    assert check.state is LoopState.OK
    assert check.excess == 0
    assert check.most - check.expected * copper.MOST_OVER == pytest.approx(80 + 20)
    assert copper.expected_loop(10_000, 24, ways=1) == pytest.approx(842.15, abs=0.1)


def test_a_bad_joint_is_named_with_what_is_too_much() -> None:
    check = copper.loop_check(3000, 10_000, 24)
    assert check.state is LoopState.HIGH
    assert check.excess == pytest.approx(3000 - check.most)
    assert check.evidence is FaultClass.HIGH_RESISTANCE
    assert "high resistance" in check.sentence
    assert f"{check.excess:.0f} more" in check.sentence


def test_too_little_blames_the_record_not_the_cable() -> None:
    check = copper.loop_check(900, 10_000, 24)
    assert check.state is LoopState.LOW
    assert check.evidence is None
    assert "length and gauge on record" in check.sentence


@given(
    length=st.integers(300, 100_000),
    awg=st.integers(18, 28),
    celsius=st.floats(-20, 50),
    spread=st.floats(0, 1),
    joint=st.floats(0, 20_000),
)
def test_sound_cable_is_never_blamed_and_a_big_joint_always_is(
    length: int, awg: int, celsius: float, spread: float, joint: float
) -> None:
    share = copper.LEAST_UNDER + spread * (copper.MOST_OVER - copper.LEAST_UNDER)
    sound = copper.expected_loop(length, awg, celsius) * share + 4 * copper.CONTACT_MILLIOHM * spread
    assert copper.loop_check(sound, length, awg, celsius).state is LoopState.OK
    check = copper.loop_check(sound + joint, length, awg, celsius)
    if joint > check.most - check.least:
        assert check.state is LoopState.HIGH
        assert check.excess <= joint


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: copper.diameter_mm(41), "41"),
        (lambda: copper.milliohm_per_meter(24, 400), "400 °C"),
        (lambda: copper.expected_loop(0, 24), "length"),
        (lambda: copper.expected_loop(1000, 24, ways=3), "not 3"),
        (lambda: copper.loop_check(math.inf, 1000, 24), "open"),
        (lambda: copper.loop_check(-1, 1000, 24), "zero the leads"),
        (lambda: copper.loop_check(1, 1000, 24, meter_milliohm=-1), "meter"),
    ],
)
def test_nonsense_is_refused_with_a_sentence(call: object, word: str) -> None:
    assert callable(call)
    with pytest.raises(Invalid, match=word):
        call()
