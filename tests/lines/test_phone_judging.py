"""The phone judges a line check as the service does: the same answers in the browser's language, from random checks."""

from datetime import timedelta
from random import Random
from uuid import UUID

import pytest

from service.kit.problems import Problem
from service.lines.checks.core.components import (
    CheckedChannel,
    CheckedPiece,
    Experience,
    Rated,
    components_of,
)
from service.lines.checks.core.judging import alone, is_dead, judge
from service.lines.checks.core.listening import ChannelStanding, HeardEntry, Sound
from service.lines.checks.core.package import package_of
from service.lines.checks.core.tracing import next_thing, traced_parts
from service.lines.core.blame import CheckedLine, Heard, blame
from service.lines.core.trace import Bypass, LinePart, Listen, SwapPart, trace
from tests.lines.test_check_core import START
from tests.support.script import module, run

CASES = 60


def random_networks(random: Random) -> list[tuple[dict[str, float], list[CheckedLine]]]:
    made: list[tuple[dict[str, float], list[CheckedLine]]] = []
    while len(made) < CASES:
        names = [f"part {number}" for number in range(random.randint(1, 12))]
        some = [random.uniform(1e-6, 0.49) for _ in range(random.randint(1, 3))]  # few, so that there are ties
        probabilities = {name: random.choice(some) for name in names}
        lines = [
            CheckedLine(
                str(at), frozenset(random.sample(names, random.randint(1, len(names)))), random.choice(list(Heard))
            )
            for at in range(random.randint(1, 7))
        ]
        made.append((probabilities, lines))
    return made


BLAME = """async ([url, cases]) => {
  const { blame, Contradiction } = await import(url);
  return cases.map(([probabilities, lines]) => {
    try { return blame(probabilities, lines); } catch (error) {
      if (error instanceof Contradiction) return null;
      throw error;
    }
  });
}"""


def test_blame_is_the_same() -> None:
    cases = random_networks(Random(1))
    as_json = [
        [given, [{"through": sorted(line.through), "heard": line.heard.value} for line in lines]]
        for given, lines in cases
    ]
    answers = run(BLAME, [module("lines/blame.js"), as_json])
    refused = 0
    for (probabilities, lines), answer in zip(cases, answers, strict=True):
        try:
            expected = blame(probabilities, lines)
        except Problem:
            refused += 1
            assert answer is None
            continue
        assert answer["evidence"] == pytest.approx(expected.evidence, rel=1e-9)
        assert answer["bad"] == pytest.approx(expected.bad, rel=1e-9, abs=1e-12)
        assert answer["explanation"] == expected.explanation
        assert answer["share"] == pytest.approx(expected.explanation_probability, rel=1e-9)
    assert 0 < refused < CASES / 2


TRACE = "async ([url, cases]) => { const { trace } = await import(url); return cases.map((each) => trace(...each)); }"


def test_trace_is_the_same() -> None:
    random, cases = Random(2), []
    for _ in range(CASES):
        parts = [
            LinePart(str(number), random.uniform(0.01, 1), random.uniform(5, 200))
            for number in range(random.randint(1, 9))
        ]
        listen = {joint: random.uniform(5, 60) for joint in range(1, len(parts)) if random.random() < 0.7}
        cases.append((parts, listen, random.uniform(30, 400)))
    as_json = [
        [[{"weight": part.weight, "swap_s": part.swap_s} for part in parts], listen, bypass]
        for parts, listen, bypass in cases
    ]
    seen = set[type]()
    for (parts, listen, bypass), answer in zip(cases, run(TRACE, [module("lines/trace.js"), as_json]), strict=True):
        plan = trace(parts, listen, bypass)
        seen.add(type(plan.first))
        assert (answer["expected_s"], answer["worst_s"]) == pytest.approx((plan.expected_s, plan.worst_s), rel=1e-9)
        match plan.first:
            case Bypass():
                assert answer["bypass"]
            case Listen():
                assert answer["listen"] == plan.first.joint
            case step:
                assert str(answer["swap"]) == step.part
    assert seen >= {Bypass, Listen, SwapPart}


def random_check(random: Random) -> tuple[list[CheckedChannel], dict[UUID, ChannelStanding], Experience]:
    """Up to ten channels over two hubs and a trunk, each heard in some way or not at all."""
    channels = []
    for number in range(1, random.randint(2, 10)):
        hub, lane = UUID(int=100 + number % 2), str(number)
        chain = (
            CheckedPiece(UUID(int=number), f"cable {number}", risk=random.choice([None, 0.02]), inlet="A", outlet="B"),
            CheckedPiece(hub, f"hub {hub.int}", "HUB", lane, 8, risk=0.02, inlet=lane, outlet="many", place="Cart"),
            CheckedPiece(UUID(int=99), "the trunk", "TRUNK", lane, 16, True, "many", lane, 0.05, random.random() < 0.1),
        )
        pieces = chain[: random.choice([0, 1, 3, 3, 3])]
        phantom, stays = random.random() < 0.5, random.random() < 0.5
        channels.append(
            CheckedChannel(
                UUID(int=1000 + number), number, f"Marimba {number}", "mic", phantom, "Marimba", pieces, stays
            )
        )
    standing = {}
    for channel in channels:
        sound = random.choice([None, None, Sound.GOOD, Sound.DEAD, Sound.CROSSED])
        others = [other.id for other in channels if other.id != channel.id]
        if sound is None or (sound is Sound.CROSSED and not others):
            continue
        sounds_as = random.choice(others) if sound is Sound.CROSSED else None
        at = START + timedelta(seconds=random.randint(0, 99))
        standing[channel.id] = ChannelStanding(HeardEntry(channel.id, channel.id, sound, sounds_as, at, UUID(int=1)))
    met = dict.fromkeys(Rated, random.randint(0, 200))
    return channels, standing, Experience(met, {Rated.MADE_JOINT: random.randint(0, 20)})


JUDGE = """async ([url, cases]) => {
  const { judged, nextThing } = await import(url);
  return cases.map(([pack, sounds, asked]) => ({
    judged: judged(pack, sounds),
    things: asked.map(([id, cleared]) => nextThing(pack, pack.channels.find((one) => one.id === id), sounds, cleared)),
  }));
}"""


def test_what_a_line_check_tells_is_the_same() -> None:
    random, cases = Random(3), []
    for channels, standing, experience in (random_check(random) for _ in range(CASES)):
        told = judge(channels, standing, experience)
        dead = [channel for channel in channels if is_dead(channel, standing) and not told.problem]
        cleared = [sorted(random.sample(range(12), random.randint(0, 12))) for _ in dead]
        cases.append((channels, standing, experience, told, list(zip(dead, cleared, strict=True))))
    as_json = [
        [
            package_of(channels, experience),
            {
                str(key): {"heard": now.sound, "sounds_as": str(now.sounds_as) if now.sounds_as else None}
                for key, now in standing.items()
            },
            [[str(channel.id), cleared] for channel, cleared in asked],
        ]
        for channels, standing, experience, _, asked in cases
    ]
    doings, same, twins = set[str](), 0, 0
    for case, answer in zip(cases, run(JUDGE, [module("lines/judging.js"), as_json]), strict=True):
        channels, standing, experience, told, asked = case
        assert [(one["key"], one["channels"]) for one in answer["judged"]["blamed"]] == [
            (one.component.key, list(one.channels)) for one in told.blamed
        ]
        assert [one["bad"] for one in answer["judged"]["blamed"]] == pytest.approx([one.bad for one in told.blamed])
        assert answer["judged"]["explanation"] == [component.key for component in told.explanation]
        assert answer["judged"]["crossed"] == list(told.crossed)
        assert bool(answer["judged"]["problem"]) == bool(told.problem)
        for (channel, off), thing in zip(asked, answer["things"], strict=True):
            weights = alone(channel, channels, standing, experience)
            parts = traced_parts(channel, components_of(channel, experience), weights)
            expected = next_thing(channel, parts, off, sum(is_dead(one, standing) for one in channels))
            doings.add(thing["doing"])
            assert thing["doing"] == expected.doing
            assert (thing["left_s"], thing["worst_s"]) == pytest.approx((expected.left_s, expected.worst_s))
            if expected.part and thing["part"]["number"] != expected.part.number:  # as good, but for the last digit
                twin = parts[thing["part"]["number"]]
                assert (twin.weight, twin.swap_s) == pytest.approx((expected.part.weight, expected.part.swap_s))
                twins += 1
                continue
            assert [thing[key] for key in ("sentence", "bring", "place")] == [
                expected.sentence,
                expected.bring,
                expected.place,
            ]
            assert thing.get("if_good") == (None if expected.if_good is None else list(expected.if_good))
            assert thing["if_dead"] == list(expected.if_dead)
            same += 1
    assert same > 10 * twins
    assert doings >= {"listen", "swap", "bypass", "nothing"}
