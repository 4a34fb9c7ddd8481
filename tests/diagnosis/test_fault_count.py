"""How many faults readings need at the least, held to the faults that made them and to nonsense."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.diagnosis.diagnosis import PROVEN_FAULTS, diagnose, numbered_cases
from service.diagnosis.fault_count import fewest_faults
from service.diagnosis.plan import make_plan
from service.wiring.builtin import BUILTIN
from service.wiring.wirings import Wiring, read
from tests.bench.diagnosis import scattered
from tests.diagnosis.exhaustive import cut_down, ends_joined, simulate
from tests.support.examples import examples
from tests.wiring.broken import broken, wirings


def needed(made: Wiring, joined: list[list[str]], probed: list[str]) -> int:
    return min(map(fewest_faults, numbered_cases(make_plan(made), read(made, joined, probed))[0]))


@examples(150)
@given(st.data())
def test_it_is_never_more_than_the_faults_that_were_made(data: st.DataObject) -> None:
    made = data.draw(wirings)
    things = data.draw(broken(made))
    hidden = data.draw(st.sets(st.sampled_from(made.all_contacts), max_size=len(made.all_contacts) // 4))
    probed = [contact for contact in made.all_contacts if contact not in hidden]
    groups = cut_down(simulate(made, things), probed)
    assume(ends_joined(made, things, groups))
    assert needed(made, [sorted(group) for group in groups], probed) <= len(things)


@pytest.mark.parametrize("key", BUILTIN)
def test_it_is_all_opens_where_a_connector_is_torn_off(key: str) -> None:
    made = BUILTIN[key]
    assert needed(made, [], list(made.all_contacts)) == len(made.conductors) + len(made.bonds)


@pytest.mark.parametrize("groups", [5, 20])
def test_contacts_joined_at_random_need_more_faults_than_must_be_found_exactly(groups: int) -> None:
    made, joined = BUILTIN["d25-to-xlr8"], scattered("d25-to-xlr8", groups)
    assert needed(made, joined, list(made.all_contacts)) > PROVEN_FAULTS
    assert not diagnose(made, read(made, joined)).least
