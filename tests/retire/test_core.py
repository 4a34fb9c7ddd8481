"""Judging what to pull: reasons and actions by hand, and the naming of spares against a matching library."""

from datetime import date
from uuid import UUID

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching

from service.retire.core import Action, Gear, Reason, fits, pull_list, reasons
from service.season.core import Due, DueState
from service.testlog.core import Fault

TODAY = date(2026, 10, 1)
CURRENT, BLOCKED, UNTESTED = Due(DueState.CURRENT), Due(DueState.BLOCKED), Due(DueState.UNTESTED)
DUE = Due(DueState.DUE, date(2026, 10, 16), 0)
OVERDUE = Due(DueState.OVERDUE, date(2026, 10, 16), 0)


def gear(number: int, today: Due, then: Due | None = None, length: int = 3048, **more: object) -> Gear:
    return Gear(UUID(int=number), "cable", "xlr3", length, today, then or today, **more)  # type: ignore[arg-type]


def test_what_is_in_order_is_not_listed() -> None:
    assert pull_list([gear(1, CURRENT), gear(2, DUE)], [], TODAY) == []


def test_a_round_that_closes_before_the_event_counts() -> None:
    (line,) = pull_list([gear(1, DUE, OVERDUE)], [], TODAY)
    assert line.reasons == (Reason.OVERDUE,)
    assert line.why == ("Overdue at the event, unless it passes by Thu Oct 15.",)
    assert line.action is Action.TEST_FIRST


def test_an_open_fault_comes_out_where_a_spare_fits_and_is_repaired_where_none_does() -> None:
    broken = gear(1, BLOCKED, fault=Fault.OPEN)
    (line,) = pull_list([broken], [gear(9, CURRENT)], TODAY)
    assert (line.action, line.spare) == (Action.PULL, UUID(int=9))
    (line,) = pull_list([broken], [gear(9, CURRENT, length=3047)], TODAY)
    assert (line.action, line.spare) == (Action.REPAIR_FIRST, None)


def test_a_repaired_one_waits_for_its_test() -> None:
    (line,) = pull_list([gear(1, BLOCKED, fault=Fault.REPAIRED)], [], TODAY)
    assert line.action is Action.TEST_FIRST
    assert line.why == ("Repaired, but no pass proves it yet.",)


def test_all_reasons_are_told() -> None:
    found = reasons(gear(1, OVERDUE, suspect="crackled at rehearsal"), date(2026, 10, 20))
    assert found == {
        Reason.OVERDUE: "Overdue: it had to pass by Thu Oct 15.",
        Reason.SUSPECT: "Suspect: crackled at rehearsal.",
    }


def test_the_one_with_an_open_fault_gets_the_only_spare() -> None:
    first, second = pull_list(
        [gear(1, UNTESTED), gear(2, BLOCKED, fault=Fault.OPEN)], [gear(9, CURRENT)], TODAY
    )
    assert (first.spare, second.spare) == (None, UUID(int=9))


LENGTHS = st.integers(1, 6)


@given(
    st.lists(LENGTHS, max_size=7),
    st.lists(st.tuples(LENGTHS, st.sampled_from([CURRENT, UNTESTED])), max_size=7),
)
def test_as_many_spares_are_named_as_any_matching_could(
    needs: list[int], cases: list[tuple[int, Due]]
) -> None:
    in_use = [gear(number, UNTESTED, length=length) for number, length in enumerate(needs)]
    spares = [gear(100 + number, due, length=length) for number, (length, due) in enumerate(cases)]
    lines = pull_list(in_use, spares, TODAY)
    by_id = {spare.id: spare for spare in spares}
    named = [(line.item, by_id[line.spare]) for line in lines if line.spare]
    assert len({spare.id for _, spare in named}) == len(named)
    assert all(fits(spare, item) and spare.today is CURRENT for item, spare in named)
    # reference: SciPy's maximum bipartite matching (Hopcroft and Karp 1973)
    edges = [[fits(spare, item) and spare.today is CURRENT for spare in spares] for item in in_use]
    table = csr_matrix(np.array(edges, dtype=int).reshape(len(in_use), len(spares)))
    most = int((maximum_bipartite_matching(table, perm_type="column") >= 0).sum()) if edges and spares else 0
    assert len(named) == most
