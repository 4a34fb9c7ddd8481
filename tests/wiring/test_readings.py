import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.wiring.builtin import BUILTIN
from service.wiring.wirings import canonical, names, read

TRUNK = BUILTIN["d25x8"]
LEAD = BUILTIN["xlr3"]
some_groups = st.lists(st.lists(st.sampled_from(TRUNK.all_contacts), max_size=4), max_size=25)


@given(some_groups)
def test_groups_that_share_a_contact_are_one_as_networkx_finds_them(joined: list[list[str]]) -> None:
    graph: nx.Graph[str] = nx.Graph()
    for group in joined:
        nx.add_path(graph, group)
    expected = {frozenset(part) for part in nx.connected_components(graph) if len(part) > 1}
    assert {frozenset(names(TRUNK, group)) for group in read(TRUNK, joined).groups} == expected


@given(some_groups, st.sets(st.sampled_from(TRUNK.all_contacts)))
def test_readings_are_kept_in_one_form_and_read_back_the_same(joined: list[list[str]], probed: set[str]) -> None:
    reached = [[contact for contact in group if contact in probed] for group in joined]
    readings = read(TRUNK, reached, sorted(probed))
    kept = canonical(TRUNK, readings)
    assert read(TRUNK, kept["joined"], kept["probed"]) == readings


def test_the_kept_form_is_in_the_wirings_order() -> None:
    readings = read(LEAD, [["B3", "A2"], ["B1", "As", "A1"]], list(LEAD.all_contacts))
    assert canonical(LEAD, readings) == {"joined": [["A1", "As", "B1"], ["A2", "B3"]], "probed": "all"}
    assert canonical(LEAD, read(LEAD, [], ["B1", "A1"]))["probed"] == ["A1", "B1"]


@pytest.mark.parametrize(
    ("joined", "probed", "culprit"),
    [
        ([["A1", "B7"]], "all", "no contact 'B7'"),
        ([["A13"]], "all", "no contact 'A13'"),
        ([["A1", 1]], "all", "no contact 1"),
        ([["A1", ["B1"]]], "all", "no contact ['B1']"),
        ([["A1", "B1"]], ["A1"], "Contact B1 is joined but not probed"),
        ([["B1"]], ["A1"], "Contact B1 is joined but not probed"),
        ([], ["A1", "A9"], "no contact 'A9'"),
        ([], "some", "'some'"),
        ([], None, "None"),
        (["A1B1"], "all", '"joined" must be a list of groups'),
        ({"A1": "B1"}, "all", '"joined" must be a list of groups'),
        (None, "all", '"joined" must be a list of groups'),
    ],
)
def test_what_cannot_have_been_read_is_refused(joined: object, probed: object, culprit: str) -> None:
    with pytest.raises(Invalid) as refused:
        read(LEAD, joined, probed)
    assert culprit in refused.value.detail
