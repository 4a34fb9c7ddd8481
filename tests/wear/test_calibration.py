"""What is said to be at 10 % fails about 10 % of the time, in programs whose wear is known (see `tests.bench.wear`)."""

from tests.wear.simulated import Said, by_risk, grouped, programs


def test_as_many_fail_as_was_said() -> None:
    """Within 3.5 standard errors by programs, in all and by quarters of risk, and the riskiest fail most; seeded."""
    said: list[Said] = [one for program in programs(70, 60) for one in program]
    everything, quarters = grouped(said), by_risk(said, 4)
    assert everything.items == 70 * 60
    for group in (everything, *quarters):
        assert abs(group.off) < 3.5, group
    assert 0.02 < everything.was < 0.1  # the comparison is about something
    assert [group.was for group in quarters] == sorted(group.was for group in quarters)
    assert quarters[-1].was > 5 * quarters[0].was


def test_an_items_own_record_counts() -> None:
    """Those that wear calls worse than their class fail more often than the others of their programs, as said."""
    said = [one for program in programs(70, 60, seed=2) for one in program]
    worse = [one for one in said if one.frailty > 1.25]
    told = grouped(worse)
    assert told.items > 100
    assert abs(told.off) < 3.5, told
    with_them = {one.program for one in worse}
    others = grouped(one for one in said if one.program in with_them and one.frailty <= 1.25)
    assert told.was > 1.1 * others.was
