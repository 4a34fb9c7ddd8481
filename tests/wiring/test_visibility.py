import pytest

from service.wiring.builtin import BUILTIN
from service.wiring.faults import Fault, FaultClass, rebuild
from service.wiring.visibility import Level, Visibility, alike, lines, view
from service.wiring.wirings import Conductor, Wiring, wiring


def _seen(made: Wiring, visibility: Visibility, *faults: Fault) -> bool:
    return not alike(view(made, visibility, rebuild(made, ())), view(made, visibility, rebuild(made, faults)))


def _short(*conductors: str) -> Fault:
    return Fault(FaultClass.SHORT, conductors)


def test_each_line_has_the_shield_of_its_lane() -> None:
    made = BUILTIN["d25-to-xlr8"]
    shields = {hot.lane: shield.lane if shield else None for shield, hot, _ in lines(made)}
    assert shields == {str(lane): str(lane) for lane in range(1, 9)}


def test_one_screen_serves_all_pairs_and_none_serves_none() -> None:
    assert {shield.name if shield else None for shield, _, _ in lines(BUILTIN["8p8c-screened"])} == {"s"}
    assert {shield for shield, _, _ in lines(BUILTIN["8p8c"])} == {None}


def test_of_two_shields_without_a_lane_neither_is_taken_for_the_line() -> None:
    made = wiring(
        ["1", "2", "3", "4"],
        ["1", "2", "3", "4"],
        [
            Conductor("1", "A1", "B1", "shield"),
            Conductor("2", "A2", "B2", "hot", "1"),
            Conductor("3", "A3", "B3", "cold", "1"),
            Conductor("4", "A4", "B4", "shield"),
        ],
    )
    assert [shield for shield, _, _ in lines(made)] == [None]


def test_two_legs_that_touch_feed_one_load_together() -> None:
    # Ohm's law: 48 V x 6.81 / (6.8 + 6.81) kohm by one feed, 48 V x 6.81 / (3.4 + 6.81) kohm by two.
    made = BUILTIN["xlr3x4"]
    sound = view(made, Visibility.PHANTOM_LOADED, rebuild(made, ()))
    touching = view(made, Visibility.PHANTOM_LOADED, rebuild(made, [_short("1.2", "2.2")]))
    assert sound[0] == pytest.approx(24.02, abs=0.02)
    assert touching[0] == pytest.approx(32.02, abs=0.02)
    assert _seen(made, Visibility.PHANTOM_LOADED, _short("1.2", "2.2"))
    assert not _seen(made, Visibility.PHANTOM, _short("1.2", "2.2"))


@pytest.mark.parametrize(("volts", "same"), [(45.0, True), (51.0, True), (40.0, False), (0.0, False), (-48.0, False)])
def test_volts_within_the_tolerance_of_the_supply_are_alike(volts: float, same: bool) -> None:
    # IEC 61938: 48 V, 4 V up or down.
    assert alike([48.0], [volts]) == same


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (Level.FULL, Level.NONE, False),
        (Level.FULL, Level.WEAK, True),
        (Level.NONE, Level.WEAK, True),
        (Level.FULL, Level.FULL, True),
    ],
)
def test_a_weak_line_may_pass_for_good(one: Level, other: Level, same: bool) -> None:
    assert alike([one], [other]) == same


@pytest.mark.parametrize(
    ("fault", "heard"),
    [
        (_short("2", "3"), True),
        (Fault(FaultClass.OPEN, ("2",)), False),
        (Fault(FaultClass.OPEN, ("1",)), False),
        (Fault(FaultClass.REVERSED_PAIR, ("2", "3")), False),
        (_short("1", "2"), False),
    ],
)
def test_what_an_ear_surely_notices_on_one_line(fault: Fault, heard: bool) -> None:
    assert _seen(BUILTIN["xlr3"], Visibility.LISTENING, fault) == heard


def test_a_single_conductor_is_heard_or_not() -> None:
    made = wiring(["1"], ["1"], [Conductor("1", "A1", "B1", "single")])
    assert _seen(made, Visibility.LISTENING, Fault(FaultClass.OPEN, ("1",)))


def test_lamps_by_what_they_show() -> None:
    turned = Fault(FaultClass.REVERSED_PAIR, ("2", "3"))
    shell = Fault(FaultClass.SHORT, ("1", "As"), "A")
    for fault, seeing in [
        (turned, {Visibility.STRAIGHT, Visibility.CROSS, Visibility.METER}),
        (_short("1", "2"), {Visibility.CROSS, Visibility.METER}),
        (shell, {Visibility.METER}),
    ]:
        lamps = (Visibility.STRAIGHT, Visibility.CROSS, Visibility.METER)
        assert {visibility for visibility in lamps if _seen(BUILTIN["xlr3"], visibility, fault)} == seeing
