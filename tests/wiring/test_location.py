import doctest
import math
import re
from collections.abc import Iterator
from random import Random
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.kit.quantities import Unit, parse_length
from service.wiring import copper, location
from service.wiring.location import FaultLocation, Meter, locate_open, locate_short

EXACT = Meter(0, 0)
MM_PER_MILE = 1_609_344


def test_the_example_in_the_module_is_true() -> None:
    assert doctest.testmod(location) == (0, 3)


def test_capacitance_ratio_of_a_public_example() -> None:
    # A public forum post on finding a break: 10 m, 100 pF at one end and 400 pF at the other, 2 m.
    place = locate_open(10_000, 100, 400, stray_a=0, stray_b=0, meter=EXACT)
    assert place.at_mm == 2000
    # By hand, an exact meter, pieces that are 5 % off either way: 100/1.05 against 400/0.95, and the reverse.
    assert (place.from_mm, place.to_mm) == (1844, 2165)


def test_stray_capacitance_would_mislead() -> None:
    # Constructed: the same with 30 pF of stray at each end.
    raw = locate_open(10_000, 230, 830, stray_a=0, stray_b=0, meter=EXACT)
    assert raw.at_mm == 2170
    assert locate_open(10_000, 230, 830, stray_a=30, stray_b=30, meter=EXACT).at_mm == 2000


def test_murray_loop_of_a_printed_example() -> None:
    # Hawkins Electrical Guide vol. 3: loop 54.07 ohm, dial 332 of 1000, 16.46 ohm a mile; printed 1.09 mile.
    miles = location.ratio_point(54.07 / 16.46, 332, 1000 - 332)
    assert miles == pytest.approx(1.09, abs=0.005)
    assert miles == pytest.approx(1.0905978, abs=1e-7)


def test_murray_loop_of_an_exercise() -> None:
    # Exercise published, answer computed: arms 2 and 1, 300 m out and 300 m back, 200 m.
    assert location.ratio_point(600, 1, 2) == pytest.approx(200)


def test_varley_loop() -> None:
    # Constructed: 400 m of 24 AWG, 33.685 ohm, dial 12 ohm at equal arms: 10.843 ohm, 128.75 m.
    per_meter = copper.milliohm_per_meter(24) / 1000
    place = location.difference_point(400, 0, 12, per_meter)
    assert place == pytest.approx(128.75, abs=0.01)
    assert place * per_meter == pytest.approx(10.843, abs=0.001)


def test_difference_method_cancels_what_the_short_resists() -> None:
    # Constructed: 30 m, 84.213 and 25 mohm/m, 0.5 ohm at 12 m; the ratio method would say 12.70 m.
    per_meter = location.pair_per_meter(24, shield_milliohm_per_meter=25)
    place = locate_short(30_000, 1910.56, 2565.84, lead_a=100, lead_b=100, per_meter=per_meter, meter=EXACT)
    assert place.at_mm == pytest.approx(12_000, abs=1)
    assert place.fault_milliohm == pytest.approx(500, abs=0.1)
    assert location.ratio_point(30, 1.81056, 2.46584) == pytest.approx(12.70, abs=0.005)


def test_two_cores_where_no_shield_is_given() -> None:
    assert location.pair_per_meter(24) == pytest.approx(2 * 84.2, abs=0.1)


READING = st.floats(-1, 1)  # how much of its uncertainty a meter uses up
METERS = st.builds(Meter, st.floats(0, 0.05), st.floats(0, 5))


@given(
    length=st.integers(1000, 100_000),
    share=st.floats(0, 1),
    per_meter=st.floats(50, 200),
    strays=st.tuples(st.floats(0, 100), st.floats(0, 100)),
    meter=METERS,
    off=st.tuples(READING, READING, READING, READING),
)
def test_a_break_is_found_within_its_band(
    length: int,
    share: float,
    per_meter: float,
    strays: tuple[float, float],
    meter: Meter,
    off: tuple[float, float, float, float],
) -> None:
    whole = length / 1000 * per_meter
    true = [share * whole + strays[0], (1 - share) * whole + strays[1], *strays]
    a, b, stray_a, stray_b = (_misread(value, meter, used) for value, used in zip(true, off, strict=True))
    place = locate_open(length, a, b, stray_a=stray_a, stray_b=stray_b, meter=meter)
    slack = 1 + 0.01 * (place.to_mm - place.from_mm)
    assert place.from_mm - slack <= share * length <= place.to_mm + slack
    assert 0 <= place.from_mm <= place.at_mm <= place.to_mm <= length


@given(
    length=st.integers(1000, 100_000),
    share=st.floats(0, 1),
    itself=st.floats(0, 2000),
    uneven=st.floats(-1, 1),
    leads=st.tuples(st.floats(0, 300), st.floats(0, 300)),
    meter=METERS,
    off=st.tuples(READING, READING, READING, READING),
)
def test_a_short_is_found_within_its_band(
    length: int,
    share: float,
    itself: float,
    uneven: float,
    leads: tuple[float, float],
    meter: Meter,
    off: tuple[float, float, float, float],
) -> None:
    per_meter = location.pair_per_meter(24, shield_milliohm_per_meter=25)
    loop = length / 1000 * per_meter * (1 + 0.99 * location.UNEVEN * uneven)
    true = [share * loop + itself + leads[0], (1 - share) * loop + itself + leads[1], *leads]
    a, b, lead_a, lead_b = (_misread(value, meter, used) for value, used in zip(true, off, strict=True))
    place = locate_short(length, a, b, lead_a=lead_a, lead_b=lead_b, per_meter=per_meter, meter=meter)
    slack = 1 + 0.01 * (place.to_mm - place.from_mm)
    assert place.from_mm - slack <= share * length <= place.to_mm + slack
    assert 0 <= place.from_mm <= place.at_mm <= place.to_mm <= length


def _misread(value: float, meter: Meter, used: float) -> float:
    """What the meter shows: never below zero, and such that `meter.error(shown)` covers the difference."""
    return max(0.0, value + 0.95 * used * (value * meter.relative + meter.absolute))


def _simulated(seed: int) -> Iterator[tuple[Random, int, float, list[float]]]:
    """20,000 cables: their length, where along it the fault is, and how far each piece is off what it should have."""
    random = Random(seed)
    for _ in range(20_000):
        pieces = [random.uniform(1 - location.UNEVEN, 1 + location.UNEVEN) for _ in "AB"]
        yield random, random.randint(1500, 60_000), random.random(), pieces


def _share_inside(places: Iterator[tuple[FaultLocation, float]]) -> tuple[float, float]:
    """Of simulated places the share inside their bands, and how wide the bands are, as a share of the cable."""
    found = [(each, each.from_mm <= round(true) <= each.to_mm) for each, true in places]
    widths = [(place.to_mm - place.from_mm) / place.length_mm for place, _ in found]
    return sum(inside for _, inside in found) / len(found), median(widths)


def test_breaks_of_uneven_cables_lie_inside_their_bands() -> None:
    meter = Meter(0.02, 5)

    def places() -> Iterator[tuple[FaultLocation, float]]:
        for random, length, share, (a, b) in _simulated(16):
            per_mm = random.uniform(0.05, 0.15)
            true = (30 + share * length * per_mm * a, 30 + (1 - share) * length * per_mm * b, 30.0, 30.0)
            read = [_misread(value, meter, random.uniform(-1, 1)) for value in true]
            yield (
                locate_open(length, read[0], read[1], stray_a=read[2], stray_b=read[3], meter=meter),
                share * length,
            )

    inside, width = _share_inside(places())
    assert inside >= 0.95
    assert width < 0.1


def test_shorts_in_uneven_cables_lie_inside_their_bands() -> None:
    meter, per_meter = Meter(0.01, 5), location.pair_per_meter(24)

    def places() -> Iterator[tuple[FaultLocation, float]]:
        for random, length, share, (a, b) in _simulated(17):
            per_mm, itself = per_meter / 1000, random.uniform(0, 1000)
            true = (
                50 + share * length * per_mm * a + itself,
                50 + (1 - share) * length * per_mm * b + itself,
                50.0,
                50.0,
            )
            read = [_misread(value, meter, random.uniform(-1, 1)) for value in true]
            yield (
                locate_short(
                    length, read[0], read[1], lead_a=read[2], lead_b=read[3], per_meter=per_meter, meter=meter
                ),
                share * length,
            )

    inside, width = _share_inside(places())
    assert inside >= 0.95
    assert width < 0.2


@given(st.integers(1, 60_000), st.data(), st.sampled_from(Unit))
def test_a_band_is_told_rounded_outwards_and_is_never_empty(length: int, data: st.DataObject, unit: Unit) -> None:
    first, at, last = sorted(data.draw(st.tuples(*[st.integers(0, length)] * 3)))
    told = FaultLocation(at, first, last, length).sentence(unit)
    if "too coarse" in told:
        return
    found = re.match(r"About (.+) from end A \(between (.+) and (.+)\): ", told)
    assert found, told
    shown_at, least, most = (0 if text.startswith("0 ") else parse_length(text) for text in found.groups())
    assert least <= first <= last <= most <= length
    assert least < most
    assert least <= shown_at <= most


def test_a_better_meter_gives_a_narrower_band() -> None:
    coarse = locate_open(10_000, 230, 830, stray_a=30, stray_b=30, meter=Meter(0.05, 5))
    fine = locate_open(10_000, 230, 830, stray_a=30, stray_b=30, meter=Meter(0.01, 1))
    assert coarse.from_mm < fine.from_mm < fine.to_mm < coarse.to_mm


def test_an_unbroken_conductor_is_not_given_a_place() -> None:
    with pytest.raises(Invalid, match="not broken now"):
        locate_open(10_000, 1030, 1030, stray_a=30, stray_b=30, whole=1030, meter=Meter(0.01, 1))
    with pytest.raises(Invalid, match="two places"):
        locate_open(10_000, 230, 330, stray_a=30, stray_b=30, whole=1030, meter=Meter(0.01, 1))
    place = locate_open(10_000, 230, 830, stray_a=30, stray_b=30, whole=1030, meter=Meter(0.01, 1))
    assert place.at_mm == 2000


def test_a_place_just_off_the_end_is_the_end() -> None:
    # Leads read a little high, so the break at contact A1 comes out below zero.
    place = locate_open(10_000, 29.5, 1030, stray_a=30, stray_b=30, meter=Meter(0, 1))
    assert (place.at_mm, place.from_mm) == (0, 0)


@pytest.mark.parametrize(
    ("place", "unit", "words"),
    [
        (
            FaultLocation(2000, 1900, 2100, 10_000),
            Unit.METERS,
            "About 2 m from end A (between 1.9 m and 2.1 m): in the",
        ),
        (FaultLocation(80, 0, 200, 10_000), Unit.METERS, "connector at end A first"),
        (FaultLocation(9900, 9800, 10_000, 10_000), Unit.METERS, "connector at end B first"),
        (FaultLocation(1219, 1100, 1350, 3048), Unit.FEET, "About 4 ft from end A"),
        (FaultLocation(500, 0, 990, 1000), Unit.METERS, "too coarse"),
    ],
)
def test_the_sentence_says_what_to_open(place: FaultLocation, unit: Unit, words: str) -> None:
    assert words in place.sentence(unit)


def _open(length: int = 10_000, a: float = 100, b: float = 100, stray: float = 0) -> FaultLocation:
    return locate_open(length, a, b, stray_a=stray, stray_b=stray, meter=Meter(0.01, 1))


def _short(a: float, b: float, per_meter: float = 100) -> FaultLocation:
    return locate_short(10_000, a, b, lead_a=0, lead_b=0, per_meter=per_meter, meter=Meter(0.01, 10))


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: _open(length=0), "length"),
        (lambda: _open(a=math.inf), "measure that end again"),
        (lambda: _open(a=math.nan), "measure that end again"),
        (lambda: _open(a=20, stray=60), "End A reads less"),
        (lambda: _open(a=0, b=0), "on the meter"),
        (lambda: _short(100, 200), "own 1000 milliohms"),
        (lambda: _short(2000, 200), "beyond end B"),
        (lambda: _short(200, 2000), "beyond end A"),
        (lambda: _short(500, 500, per_meter=0), "milliohms a meter"),
        (lambda: Meter(1.5, 0), "share"),
    ],
)
def test_nonsense_is_refused_with_a_sentence(call: object, word: str) -> None:
    assert callable(call)
    with pytest.raises(Invalid, match=word):
        call()
