from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.diagnosis.ambiguity import agree, certain
from service.diagnosis.diagnosis import diagnose
from service.wiring.builtin import BUILTIN
from service.wiring.faults import Fault, FaultClass, rebuild
from service.wiring.singles import single_faults
from service.wiring.wirings import Readings, canonical

XLR3 = BUILTIN["xlr3"]
SINGLES = list(single_faults(XLR3))
OPEN_2 = Fault(FaultClass.OPEN, ("2",))
SHORT_12 = Fault(FaultClass.SHORT, ("1", "2"))
TURNED = Fault(FaultClass.REVERSED_PAIR, ("2", "3"))


def built(*cables: Sequence[Fault]) -> list[Readings]:
    return [rebuild(XLR3, faults) for faults in cables]


def test_one_reading_is_kept_as_it_is() -> None:
    (only,) = built([OPEN_2])
    agreed = agree(XLR3, [only, only])
    assert (agreed.readings, agreed.kept, agreed.faulty) == ((only,), only, False)


def test_good_or_turned_is_partial_and_proves_the_shield() -> None:
    agreed = agree(XLR3, built([], [TURNED]))
    assert "pass" in {each.verdict for each in agreed.diagnoses}
    assert not agreed.faulty
    assert agreed.kept is not None
    found = diagnose(XLR3, agreed.kept)
    assert (found.verdict, found.unproven) == ("partial", ("2", "3"))


def test_two_faults_that_share_no_proof_are_faulty_without_a_class() -> None:
    agreed = agree(XLR3, built([OPEN_2], [SHORT_12]))
    assert agreed.faulty
    assert {each.verdict for each in agreed.diagnoses} == {"fail"}
    assert agreed.kept is not None
    assert diagnose(XLR3, agreed.kept).faults == ()


def test_a_fault_that_all_share_is_proven_by_what_is_kept() -> None:
    open_3 = Fault(FaultClass.OPEN, ("3",))
    agreed = agree(XLR3, built([open_3], [open_3, OPEN_2]))
    assert not agreed.faulty
    assert agreed.kept is not None
    assert diagnose(XLR3, agreed.kept).faults == (open_3,)


def test_no_reading_is_kept_that_would_name_a_fault_which_is_not_sure() -> None:
    # Swapped in both, and in one of them 1 and 2 touch besides: what both share reads as an open that neither has.
    agreed = agree(XLR3, built([TURNED], [SHORT_12, TURNED]))
    assert (agreed.kept, agreed.faulty) == (None, True)


@given(st.lists(st.lists(st.sampled_from(SINGLES), max_size=2), min_size=1, max_size=4))
def test_what_is_certain_holds_for_each_and_no_fault_is_claimed_that_one_lacks(
    cables: list[list[Fault]],
) -> None:
    possible = [
        rebuild(XLR3, faults[:1]) if len({f.fault_class for f in faults}) < len(faults) else rebuild(XLR3, faults)
        for faults in cables
    ]
    kept = certain(XLR3, possible)
    assert all(each.within(kept.probed) == kept for each in possible)
    agreed = agree(XLR3, possible)
    fails = all(found.verdict == "fail" for found in agreed.diagnoses)
    logged = diagnose(XLR3, agreed.kept) if agreed.kept is not None else None
    assert (agreed.faulty or (logged is not None and logged.verdict == "fail")) == fails
    for fault in logged.faults if logged else ():
        assert all(fault in found.faults for found in agreed.diagnoses)


@pytest.mark.parametrize("key", BUILTIN)
def test_nothing_disputed_means_nothing_is_lost(key: str) -> None:
    wiring = BUILTIN[key]
    sound = rebuild(wiring, ())
    assert certain(wiring, [sound, sound]) == sound
    assert canonical(wiring, certain(wiring, [sound, sound]))["probed"] == "all"
