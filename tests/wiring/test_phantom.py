import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.wiring import phantom
from service.wiring.faults import Fault, FaultClass
from service.wiring.location import Meter
from service.wiring.phantom import Bench, FarEnd, State, diagnose_phantom
from tests.wiring.far_end import far_end_volts

SOUND = State()
SHORT_2_1, SHORT_3_1, SHORT_2_3 = (State(joined=frozenset(group)) for group in ((2, 1), (3, 1), (2, 3)))
OPEN_1, OPEN_2, OPEN_3 = (State(cut=frozenset({contact})) for contact in (1, 2, 3))
REVERSED = State(lands=(1, 3, 2))

# Nodal analysis of the feed of IEC 61938, made apart from this service: 48 V through 6.81 kohm, 1 ohm a core,
# 0.1 ohm a short, 10 Mohm meter, one reading at a time, load 6.81 kohm 2-1 and 13.62 kohm 3-1.
# State: V 2-1, V 3-1, then both loaded.
PUBLISHED = [
    (SOUND, 47.97, 47.97, 23.99, 31.98),
    (SHORT_2_1, 0.00, 47.96, 0.00, 31.98),
    (SHORT_3_1, 47.96, 0.00, 23.99, 0.00),
    (SHORT_2_3, 47.98, 47.98, 27.42, 27.42),
    (OPEN_1, 0.00, 0.00, 0.00, 0.00),
    (OPEN_2, 0.00, 47.97, 0.00, 31.98),
    (OPEN_3, 47.97, 0.00, 23.99, 0.00),
    (REVERSED, 47.97, 47.97, 23.99, 31.98),
]


@pytest.mark.parametrize(("state", "v21", "v31", "loaded21", "loaded31"), PUBLISHED)
def test_far_end_volts(state: State, v21: float, v31: float, loaded21: float, loaded31: float) -> None:
    bare, loaded = (far_end_volts(state, loaded=load, bench=Bench(feed_ohm=6810)) for load in (False, True))
    assert (bare.v21, bare.v31) == pytest.approx((v21, v31), abs=0.01)
    assert (loaded.v21, loaded.v31) == pytest.approx((loaded21, loaded31), abs=0.01)


@pytest.mark.parametrize(("supply", "milliamps"), [(44, 6.46), (48, 7.05), (52, 7.64)])
def test_one_leg_shorted_draws_what_ohm_says(supply: float, milliamps: float) -> None:
    # Ohm's law, supply / 6.81 kohm (6.8 kohm nominal): the volts that the other leg keeps are the supply's.
    bench = Bench(supply_volts=supply, feed_ohm=6810)
    volts = far_end_volts(SHORT_2_1, loaded=False, bench=bench)
    assert (volts.v31 - volts.v21) / 6.81 == pytest.approx(milliamps, abs=0.01)


def _named(*readings: FarEnd, bench: Bench | None = None) -> set[str]:
    """The states named, in short: classes with their conductors."""
    states = diagnose_phantom(readings, bench).states
    return {" ".join(_word(fault) for fault in state) or "sound" for state in states}


def _word(fault: Fault) -> str:
    return f"{fault.fault_class}:{'+'.join(fault.conductors)}"


def test_without_a_load_short_and_reversal_look_sound_and_all_three_are_named() -> None:
    diagnosis = diagnose_phantom([FarEnd(47.9, 48.0)])
    assert () in diagnosis.states
    assert diagnosis.states[0] == ()
    assert _named(FarEnd(47.9, 48.0)) == {"sound", "short:2+3", "reversed_pair:2+3"}


def test_reading_2_to_3_as_well_does_not_help_without_a_load() -> None:
    assert _named(FarEnd(47.9, 48.0, 0.0)) == {"sound", "short:2+3", "reversed_pair:2+3"}


def test_the_load_tells_the_short_apart_but_not_the_reversal() -> None:
    assert _named(FarEnd(24.0, 32.0, loaded=True)) == {"sound", "reversed_pair:2+3"}
    assert _named(FarEnd(27.4, 27.4, loaded=True)) == {"short:2+3"}
    assert _named(FarEnd(47.9, 48.0), FarEnd(27.4, 27.4, 0.0, loaded=True)) == {"short:2+3"}


def test_an_open_and_a_short_to_shield_read_alike() -> None:
    assert {"open:2", "short:1+2"} <= _named(FarEnd(0.0, 48.0))
    assert {"open:3", "short:1+3"} <= _named(FarEnd(48.0, 0.0))


def test_all_zero_names_the_shield_and_asks_whether_power_is_on() -> None:
    diagnosis = diagnose_phantom([FarEnd(0.0, 0.0)])
    assert diagnosis.no_power
    assert () not in diagnosis.states
    assert {"open:1", "short:1+2+3"} <= _named(FarEnd(0.0, 0.0))
    assert not diagnose_phantom([FarEnd(0.0, 48.0)]).no_power


def test_shield_and_hot_swapped_turn_the_volts_over() -> None:
    assert _named(FarEnd(-48.0, 0.0)) >= {"miswire:1+2"}
    assert "sound" not in _named(FarEnd(-48.0, 0.0))


def test_two_faults_are_named_only_where_one_will_not_do() -> None:
    # Cut hot and cold both: nothing arrives, which a cut shield explains alone.
    assert all(len(state) <= 1 for state in diagnose_phantom([FarEnd(0.0, 0.0)]).states)
    # Shield and hot swapped, and cold cut: no single fault turns contact 2 over and leaves 3 level with it.
    turned = State(lands=(2, 1, 3), cut=frozenset({3}))
    found = diagnose_phantom([far_end_volts(turned, loaded=True), far_end_volts(turned, loaded=False)])
    assert turned.faults() in found.states
    assert all(len(state) == 2 for state in found.states)


def test_a_supply_measured_at_the_desk_narrows_the_band() -> None:
    weak = FarEnd(44.5, 44.5)
    assert () in diagnose_phantom([weak]).states
    found = diagnose_phantom([weak], Bench(supply_off=0.5))
    assert [one.contacts for one in found.resistances] == [(1,)]
    assert found.weak_power
    with pytest.raises(Invalid, match=r"47\.5 to 48\.5 V"):
        diagnose_phantom([FarEnd(40, 30)], Bench(supply_off=0.5))


def _resisting(*readings: FarEnd, bench: Bench | None = None) -> dict[tuple[int, ...], tuple[float, float]]:
    """The leaks (two contacts) and joints (one) that are named, each with its least and most ohms."""
    return {one.contacts: (one.least_ohm, one.most_ohm) for one in diagnose_phantom(readings, bench).resistances}


def test_a_leak_divides_the_feed() -> None:
    # Ohm's law: 6.8 kohm of leak below 6.8 kohm of feed leaves half of 48 V; with the load, 6.81 kohm beside it.
    found = _resisting(FarEnd(24.0, 48.0))
    assert found.keys() == {(1, 2), (2,)}  # or 10 Mohm of joint before the 10 Mohm of the meter
    least, most = found[1, 2]
    assert found[2,][0] <= 10e6 <= found[2,][1]
    assert least <= 6800 <= most < 1.3 * least
    both = _resisting(FarEnd(24.0, 48.0), FarEnd(48 * 3402.5 / 10_202.5, 32.0, loaded=True))
    assert both.keys() == {(1, 2)}


def test_with_one_reading_a_leak_and_a_joint_may_be_alike_and_the_other_tells() -> None:
    # By hand: 6.81 kohm of load behind 6.8 kohm of feed and 10 kohm of joint leaves 48 x 6.81 / 23.61 = 13.85 V.
    loaded = FarEnd(13.85, 32.0, loaded=True)
    found = diagnose_phantom([loaded])
    assert found.undecided
    joint = _resisting(loaded, FarEnd(47.9, 48.0))
    assert joint.keys() == {(2,)}
    assert joint[(2,)][0] <= 10_000 <= joint[(2,)][1]
    assert _resisting(loaded, FarEnd(19.6, 48.0)).keys() == {(1, 2)}
    assert not diagnose_phantom([loaded, FarEnd(47.9, 48.0)]).undecided


@settings(deadline=None)
@given(
    contacts=st.sampled_from([(1, 2), (1, 3), (2, 3), (1,), (2,), (3,)]),
    decades=st.floats(0, 1),
    supply=st.floats(44, 52),
    feed=st.floats(6800 * 0.991, 6800 * 1.009),
    used=st.lists(st.floats(-0.9, 0.9), min_size=4, max_size=4),
    conditions=st.sampled_from([(False,), (True,), (False, True)]),
    meter_ohm=st.sampled_from([1e6, 10e6]),
)
def test_a_leak_or_a_joint_is_never_refused(
    contacts: tuple[int, ...],
    decades: float,
    supply: float,
    feed: float,
    used: list[float],
    conditions: tuple[bool, ...],
    meter_ohm: float,
) -> None:
    """Leaks of 100 ohm to 100 kilohm, joints of 1 kilohm to 1 megohm: named with their ohms, where they show at all."""
    ohm = 100 * 1000**decades * (1 if len(contacts) == 2 else 10)
    bench, meter, errors = (
        Bench(supply_volts=supply, feed_ohm=feed, meter_ohm=meter_ohm),
        Meter(0.009, 0.15),
        iter(used),
    )
    shown = []
    for loaded in conditions:
        true = far_end_volts(State(resists=contacts, ohm=ohm), loaded=loaded, bench=bench)
        v21, v31 = (volts + next(errors) * meter.error(volts) for volts in (true.v21, true.v31))
        shown.append(FarEnd(v21, v31, loaded=loaded))
    found = diagnose_phantom(shown, Bench(meter_ohm=meter_ohm))
    if found.resistances:
        [mine] = [one for one in found.resistances if one.contacts == contacts]
        assert mine.least_ohm <= ohm <= mine.most_ohm
    else:
        assert all(len(state) <= 1 for state in found.states)  # it reads as one of these, within what is uncertain


def test_the_meters_own_resistance_is_reckoned_with() -> None:
    # Ohm's law: 20 kohm of meter behind 6.8 kohm of feed shows 48 x 20 / 26.8 = 35.8 V of a sound cable.
    sound = FarEnd(35.8, 35.8)
    assert () in diagnose_phantom([sound], Bench(meter_ohm=20e3)).states
    assert () not in diagnose_phantom([sound]).states


@pytest.mark.parametrize("share", [0.985, 1.015])
def test_resistors_may_be_off_by_their_tolerance_and_no_more(share: float) -> None:
    # A feed 1.5 % off divides as feed and load do that are off by half of that in opposite directions.
    exact = Meter(0, 0.02)
    read = far_end_volts(SOUND, loaded=True, bench=Bench(feed_ohm=6800 * share))
    assert () in diagnose_phantom([read], Bench(supply_off=0, meter=exact)).states
    with pytest.raises(Invalid):
        diagnose_phantom([read], Bench(supply_off=0, meter=exact, resistors_off=0))


@settings(deadline=None)
@given(
    state=st.sampled_from(phantom.SIMPLE_STATES),
    supply=st.floats(44, 52),
    feed=st.floats(6800 * 0.991, 6800 * 1.009),
    used=st.lists(st.floats(-0.9, 0.9), min_size=6, max_size=6),
    conditions=st.sampled_from([(False,), (True,), (False, True)]),
    with_23=st.booleans(),
)
def test_the_true_state_is_always_among_those_named(
    state: State, supply: float, feed: float, used: list[float], conditions: tuple[bool, ...], with_23: bool
) -> None:
    bench, meter, errors = Bench(supply_volts=supply, feed_ohm=feed), Meter(0.009, 0.15), iter(used)
    shown = []
    for loaded in conditions:
        true = far_end_volts(state, loaded=loaded, bench=bench)
        volts = [value + next(errors) * meter.error(value) for _, value in true.readings()]
        shown.append(FarEnd(volts[0], volts[1], volts[2] if with_23 else None, loaded))
    assert state.faults() in diagnose_phantom(shown).states


@settings(deadline=None)
@given(state=st.sampled_from(phantom.DOUBLE_STATES))
def test_two_faults_are_named_or_something_simpler_that_reads_the_same(state: State) -> None:
    readings = [far_end_volts(state, loaded=loaded) for loaded in (False, True)]
    states = diagnose_phantom(readings).states
    assert state.faults() in states or all(len(simple) <= 1 for simple in states)


def test_each_state_is_listed_once_and_named_as_the_diagnosis_names_it() -> None:
    states = [state.faults() for state in (*phantom.SIMPLE_STATES, *phantom.DOUBLE_STATES)]
    assert len(set(states)) == len(states)
    assert states[0] == ()
    assert State(lands=(2, 3, 1)).faults()[0].destinations == (("1", "B2"), ("2", "B3"), ("3", "B1"))
    assert REVERSED.faults()[0].fault_class is FaultClass.REVERSED_PAIR


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: diagnose_phantom([]), "Read the volts"),
        (lambda: diagnose_phantom([FarEnd(60, 60)]), "44 to 52 V"),
        (lambda: diagnose_phantom([FarEnd(20, 30)]), "No cable"),
        (lambda: FarEnd(math.nan, 48), "number of volts"),
        (lambda: Bench(supply_off=48), "supply"),
        (lambda: Bench(feed_ohm=0), "zero ohms"),
    ],
)
def test_nonsense_is_refused_with_a_sentence(call: object, word: str) -> None:
    assert callable(call)
    with pytest.raises(Invalid, match=word):
        call()
