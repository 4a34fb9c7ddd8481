from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.lines.checks.core.components import (
    COMMON,
    CauseKind,
    CheckedChannel,
    CheckedPiece,
    Experience,
    Rated,
    components_of,
)
from service.lines.checks.core.judging import alone, judge
from service.lines.checks.core.lessons import Lesson, commonest, right_at, usual_seconds
from service.lines.checks.core.listening import ChannelStanding, HeardEntry, Sound, exchanged, standings
from service.lines.checks.core.tracing import Doing, next_thing, traced_parts
from tests.support.examples import examples

START = datetime(2026, 10, 3, 18, 0, tzinfo=UTC)
NOTHING = Experience()
TRUNK, HUB, OTHER_HUB = UUID(int=100), UUID(int=101), UUID(int=102)


def channel(number: int, hub: UUID = HUB, **more: object) -> CheckedChannel:
    """A channel through a cable of its own, a hub of eight and the trunk."""
    pieces = (
        CheckedPiece(UUID(int=number), f"cable {number}", risk=0.02, inlet="A", outlet="B"),
        CheckedPiece(hub, f"hub {hub.int}", "HUB", str(number), 8, risk=0.02, inlet=str(number), outlet="many"),
        CheckedPiece(
            TRUNK, "the trunk", "TRUNK", str(number), 8, stays=True, risk=0.02, inlet="many", outlet=str(number)
        ),
    )
    return CheckedChannel(UUID(int=1000 + number), number, f"Marimba {number}", "mic", pieces=pieces, **more)  # type: ignore[arg-type]


def entry(number: int, sound: Sound, seconds: int = 0, person: int = 1, sounds_as: int = 0) -> HeardEntry:
    heard_as = UUID(int=1000 + sounds_as) if sounds_as else None
    at = START + timedelta(seconds=seconds)
    return HeardEntry(UUID(int=seconds * 10 + person), UUID(int=1000 + number), sound, heard_as, at, UUID(int=person))


def standing(**heard: Sound) -> dict[UUID, ChannelStanding]:
    return standings([entry(int(name[1:]), sound) for name, sound in heard.items()], {})


@examples(60)
@given(
    st.lists(
        st.builds(
            entry, st.integers(1, 2), st.sampled_from([Sound.GOOD, Sound.DEAD]), st.integers(0, 9), st.integers(1, 3)
        ),
        max_size=8,
        unique_by=lambda logged: logged.id,
    ).flatmap(lambda logged: st.tuples(st.just(logged), st.permutations(logged)))
)
def test_what_stands_does_not_depend_on_the_order_of_arrival(orders: tuple[list[HeardEntry], list[HeardEntry]]) -> None:
    logged, arrived = orders
    now = standings(logged, {})
    assert now == standings(arrived, {})
    for channel_id, stands in now.items():
        assert stands.latest is not None
        assert stands.latest.at == max(one.at for one in logged if one.channel == channel_id)


def test_two_people_who_disagree_are_marked_and_the_later_shows() -> None:
    both = [entry(1, Sound.DEAD, 0, person=1), entry(1, Sound.GOOD, 5, person=2)]
    (now,) = standings(both, {}).values()
    assert (now.sound, now.disputed) == (Sound.GOOD, True)
    (agreed,) = standings([*both, entry(1, Sound.GOOD, 9, person=1)], {}).values()
    assert (agreed.sound, agreed.disputed) == (Sound.GOOD, False)


def test_what_was_repaired_is_listened_to_again() -> None:
    repaired = {UUID(int=1001): START + timedelta(seconds=3)}
    (now,) = standings([entry(1, Sound.DEAD, 0)], repaired).values()
    assert (now.sound, now.again) == (None, True)
    (after,) = standings([entry(1, Sound.DEAD, 0), entry(1, Sound.GOOD, 4, person=2)], repaired).values()
    assert after == ChannelStanding(entry(1, Sound.GOOD, 4, person=2))


def test_an_unseated_plug_is_likelier_than_a_broken_cable_and_all_stay_within_bounds() -> None:
    parts = components_of(channel(1, phantom=True), NOTHING)
    assert [part.kind for part in parts] == [
        CauseKind.MICROPHONE,
        *[CauseKind.JOINT, CauseKind.ITEM],
        *[CauseKind.JOINT, CauseKind.ITEM, CauseKind.ITEM] * 2,
        *[CauseKind.JOINT, CauseKind.PHANTOM, CauseKind.MUTED, CauseKind.MIXER],
    ]
    assert parts[1].probability > parts[2].probability
    assert all(0 < part.probability < 0.5 and part.basis for part in parts)


@pytest.mark.parametrize(("risk", "suspect"), [(0.0, False), (1.0, False), (0.01, True), (None, True)])
def test_no_item_is_certain(risk: float | None, suspect: bool) -> None:
    piece = CheckedPiece(UUID(int=1), "K", risk=risk, suspect=suspect)
    cable = components_of(CheckedChannel(UUID(int=2), 1, "Voice", pieces=(piece,)), NOTHING)[2]
    assert 0 < cable.probability <= 0.49


def test_the_parts_of_a_hub_are_together_as_risky_as_the_hub() -> None:
    eight = [channel(number) for number in range(1, 9)]
    parts = {part.key: part for one in eight for part in components_of(one, NOTHING) if part.item == HUB}
    good = 1.0
    for part in parts.values():
        good *= 1 - part.probability
    assert len(parts) == 9
    assert good == pytest.approx(1 - 0.02)


def test_the_programs_own_line_checks_move_a_rate_and_the_page_can_say_so() -> None:
    assert NOTHING.rate(Rated.MUTED) == (COMMON[Rated.MUTED], "common practice, no source")
    rate, basis = Experience({Rated.MUTED: 300}, {Rated.MUTED: 18}).rate(Rated.MUTED)
    assert rate == pytest.approx((100 * 0.02 + 18) / 400)
    assert basis == "18 of 300 in this program's line checks, and common practice"


def test_a_dead_hub_and_nothing_else_points_at_what_only_its_channels_share() -> None:
    channels = [channel(number, HUB if number < 5 else OTHER_HUB) for number in range(1, 9)]
    heard = {f"c{number}": Sound.DEAD if number < 5 else Sound.GOOD for number in range(1, 9)}
    told = judge(channels, standing(**heard), NOTHING)
    first, second = told.blamed[:2]
    assert {first.component.item, second.component.item} == {HUB, None}
    assert second.component.kind in (CauseKind.JOINT, CauseKind.ITEM)
    assert first.channels == (1, 2, 3, 4)
    assert first.bad + second.bad > 0.9
    assert TRUNK not in {one.component.item for one in told.blamed[:2]}


def test_exchanged_channels_count_as_good_and_are_told_apart_from_dead_ones() -> None:
    channels = [channel(number) for number in (1, 2, 3)]
    crossed = [entry(1, Sound.CROSSED, sounds_as=2), entry(2, Sound.CROSSED, sounds_as=1), entry(3, Sound.DEAD)]
    told = judge(channels, standings(crossed, {}), NOTHING)
    (sentence,) = told.crossed
    assert sentence.startswith("1 Marimba 1 and 2 Marimba 2 sound on each other's keys.")
    assert "hub 101, the trunk, the mixer" in sentence
    # What 1 and 2 share with 3 was heard to work.
    assert {one.component.key for one in told.blamed if one.component.item in (HUB, TRUNK)} <= {
        f"lane {HUB} 3",
        f"lane {TRUNK} 3",
    }


def test_a_channel_that_sounds_as_another_tells_nothing_of_its_line() -> None:
    now = standings([entry(1, Sound.CROSSED, sounds_as=2), entry(2, Sound.DEAD)], {})
    assert exchanged(now) == {}
    told = judge([channel(1), channel(2)], now, NOTHING)
    assert any(one.component.key == f"item {HUB}" for one in told.blamed)
    assert told.crossed[0].startswith("The key of 1 Marimba 1 has the sound of 2 Marimba 2.")


def test_weights_are_those_of_all_sets_in_which_one_of_the_line_is_bad() -> None:
    channels = [channel(1), channel(2)]
    heard = standing(c1=Sound.DEAD, c2=Sound.DEAD)
    weights = alone(channels[0], channels, heard, NOTHING)
    mine = components_of(channels[0], NOTHING)
    others = [part for part in components_of(channels[1], NOTHING) if part.key not in {one.key for one in mine}]
    one_of_the_others = 1.0
    for part in others:
        one_of_the_others *= 1 - part.probability
    shared = {part.key for part in components_of(channels[1], NOTHING)}
    expected = {
        part.key: part.probability / (1 - part.probability) * (1 if part.key in shared else 1 - one_of_the_others)
        for part in mine
    }
    total, expected_total = sum(weights.values()), sum(expected.values())
    assert {key: weight / total for key, weight in weights.items()} == pytest.approx(
        {key: weight / expected_total for key, weight in expected.items()}
    )


@examples(40)
@given(bad=st.integers(0, 12), phantom=st.booleans())
def test_following_the_answers_ends_at_the_bad_part_or_at_a_spare_line(bad: int, phantom: bool) -> None:
    one = channel(1, phantom=phantom)
    heard = standing(c1=Sound.DEAD)
    parts = traced_parts(one, components_of(one, NOTHING), alone(one, [one], heard, NOTHING))
    bad %= len(parts)
    cleared: tuple[int, ...] = ()
    for _ in parts:
        thing = next_thing(one, parts, cleared)
        assert thing.sentence.endswith(".")
        assert 0 < thing.left_s <= thing.worst_s
        if thing.doing is Doing.BYPASS:
            return
        assert thing.part is not None
        if thing.doing is Doing.SWAP and thing.part.number == bad:
            return
        if thing.doing is Doing.LISTEN:
            good = thing.part.number < bad
            assert thing.if_good is not None
            cleared = thing.if_good if good else thing.if_dead
        else:
            cleared = thing.if_dead
        assert bad not in cleared
    pytest.fail("the answers do not end")


def test_a_channel_without_a_line_has_what_is_its_own_and_the_mixer_to_try() -> None:
    bare = CheckedChannel(UUID(int=1001), 1, "Voice", phantom=True)
    weights = alone(bare, [bare], standing(c1=Sound.DEAD), NOTHING)
    parts = traced_parts(bare, components_of(bare, NOTHING), weights)
    assert [part.component.kind for part in parts] == ["microphone", "phantom", "muted", "mixer"]
    assert not any(part.can_listen for part in parts)
    assert next_thing(bare, parts, ()).doing is Doing.SWAP


def test_where_everything_was_tried_it_says_that_more_than_one_thing_is_bad() -> None:
    one = channel(1)
    parts = traced_parts(one, components_of(one, NOTHING), alone(one, [one], standing(c1=Sound.DEAD), NOTHING))
    thing = next_thing(one, parts, [part.number for part in parts])
    assert thing.doing is Doing.NOTHING
    assert "more than one thing is bad" in thing.sentence


def test_nobody_pulls_a_plug_that_carries_other_channels_to_listen() -> None:
    one = channel(1)
    parts = traced_parts(one, components_of(one, NOTHING), {})
    assert [part.component.name for part in parts if part.can_listen] == [
        "the mic of 1 Marimba 1",
        "cable 1",
        "the trunk",
    ]


@examples(80)
@given(
    st.lists(
        st.builds(
            entry, st.integers(1, 3), st.sampled_from([Sound.GOOD, Sound.DEAD]), st.integers(0, 9), st.integers(1, 2)
        ),
        max_size=8,
        unique_by=lambda logged: logged.id,
    )
)
def test_all_sounds_right_from_the_first_moment_after_which_nothing_is_wrong_any_more(logged: list[HeardEntry]) -> None:
    """Against a walk through the moments: how each channel that anybody listens to stands after each."""
    in_order = sorted(logged, key=lambda one: (one.at, one.id))
    channels, now, expected = {one.channel for one in logged}, dict[UUID, Sound](), None
    for one in in_order:
        now[one.channel] = one.sound
        right = now.keys() == channels and set(now.values()) == {Sound.GOOD}
        expected = (expected or one.at) if right else None
    assert right_at(logged) == expected


def test_the_commonest_cause_comes_first_and_the_usual_time_is_the_median() -> None:
    def lesson(seconds: int | None, *causes: CauseKind) -> Lesson:
        return Lesson(UUID(int=1), UUID(int=2), START, 60, seconds, 3, len(causes), causes)

    lessons = [lesson(90, CauseKind.MUTED), lesson(None), lesson(40, CauseKind.JOINT), lesson(50, CauseKind.JOINT)]
    assert commonest(lessons) == [(CauseKind.JOINT, 2), (CauseKind.MUTED, 1)]
    assert usual_seconds(lessons) == 50
    assert [each.in_time for each in lessons] == [False, False, True, True]
    assert (commonest([]), usual_seconds([])) == ([], None)
