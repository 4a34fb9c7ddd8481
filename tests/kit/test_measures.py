from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.measures import (
    parse_celsius,
    parse_meter_ohm,
    parse_milliohm,
    parse_picofarad,
    parse_share,
    parse_volts,
)
from service.kit.problems import Invalid

Parse = Callable[[str, str], float]


@pytest.mark.parametrize(
    ("parse", "typed", "value"),
    [
        (parse_picofarad, "830 pF", 830),
        (parse_picofarad, "0,83nF", 830),
        (parse_picofarad, "1.2 NF", 1200),
        (parse_picofarad, ".001 µF", 1000),
        (parse_picofarad, "0.001 uF", 1000),
        (parse_milliohm, "0.85", 850),
        (parse_milliohm, "0.85 Ohm", 850),
        (parse_milliohm, "1 \u03a9", 1000),
        (parse_milliohm, "1 \u2126", 1000),
        (parse_milliohm, "850 mohm", 850),
        (parse_milliohm, "850 mΩ", 850),
        (parse_milliohm, "1.2 kohm", 1_200_000),
        (parse_milliohm, "0,125", 125),
        (parse_volts, "47.9", 47.9),
        (parse_volts, "−0.2 V", -0.2),
        (parse_volts, "120 mV", 0.12),
        (parse_meter_ohm, "10 Mohm", 10e6),
        (parse_meter_ohm, "10m", 10e6),
        (parse_meter_ohm, "200 kΩ", 200e3),
        (parse_meter_ohm, "1 megohm", 1e6),
        (parse_celsius, "20 C", 20),
        (parse_celsius, "68 °F", 20),
        (parse_celsius, "-40F", -40),
        (parse_share, "2", 0.02),
        (parse_share, "0.5 %", 0.005),
    ],
)
def test_what_stands_on_a_meter(parse: Parse, typed: str, value: float) -> None:
    assert parse(typed, "reading") == pytest.approx(value)


@pytest.mark.parametrize(
    ("parse", "typed", "says"),
    [
        (parse_picofarad, "", "Write what the meter shows"),
        (parse_picofarad, "830", "needs its unit: write 830 pF or 830 nF"),
        (parse_picofarad, "830 mF", "a unit that is not known"),
        (parse_picofarad, "OL", "“OL” is no measured value"),
        (parse_milliohm, "1 Mohm", "a unit that is not known"),
        (parse_milliohm, "1,250", "may mean 1250 or 1.250"),
        (parse_milliohm, "1.2.3", "no measured value"),
        (parse_milliohm, "9" * 31, "no measured value"),
        (parse_volts, "48 A", "a unit that is not known"),
        (parse_meter_ohm, "10", "needs its unit: write 10 Mohm"),
        (parse_meter_ohm, "5 ohm", "No voltmeter has 5 ohm"),
        (parse_meter_ohm, "10 V", "a unit that is not known"),
        (parse_volts, "about 48", "no measured value"),
        (parse_celsius, "70", "needs its unit: write it like 68 F or 20 C"),
        (parse_celsius, "70 K", "needs its unit"),
        (parse_share, "2 pF", "a unit that is not known"),
    ],
)
def test_what_cannot_be_read_is_refused_for_its_field(parse: Parse, typed: str, says: str) -> None:
    with pytest.raises(Invalid) as refusal:
        parse(typed, "reading")
    assert list(refusal.value.errors) == ["reading"]
    assert says in refusal.value.errors["reading"]


@given(st.text(max_size=40), st.sampled_from([parse_picofarad, parse_milliohm, parse_celsius, parse_volts]))
def test_anything_typed_is_a_finite_number_or_a_sentence(typed: str, parse: Parse) -> None:
    try:
        value, sentence = parse(typed, "reading"), "It is a number."
    except Invalid as refusal:
        value, sentence = 0.0, refusal.errors["reading"]
    assert abs(value) < 1e40
    assert sentence.endswith(".")
