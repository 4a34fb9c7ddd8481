"""A fit and what an item showed since, against a new fit of everything; and a fit as it is stored."""

from dataclasses import replace
from uuid import UUID

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.wear.core.classes import class_models
from service.wear.core.fit_document import as_document, as_text, items_of, models_of, tables_of
from service.wear.core.lives import Life
from service.wear.core.pooling import PooledItem, expected_failures, posterior
from service.wear.core.program_fit import Piece, ProgramFit, fit_program
from tests.wear.test_pooling import CABLE, LOT_1, item, items

DRUM = ("drum",)


def fit_of(program: list[PooledItem]) -> ProgramFit:
    return fit_program(tuple((UUID(int=number), one.path, one.lives) for number, one in enumerate(program)))


@settings(max_examples=10, deadline=None)
@given(st.lists(items, min_size=2, max_size=6), items)
def test_what_one_item_showed_since_is_applied_as_a_new_fit_would(program: list[PooledItem], then: PooledItem) -> None:
    """Nothing else is known than before, so its own posterior is that of a fit to all lives as they are now."""
    then = replace(then, path=program[0].path)
    fit = fit_of([then, *program[1:]])
    anew = posterior(tuple((one.path, one.lives) for one in program))
    now = fit.posterior([fit.piece(UUID(int=0), program[0].path, program[0].lives)])
    assert now.points[0] == pytest.approx(anew.points[anew.which[0]], rel=1e-6, abs=1e-12)


@settings(max_examples=6, deadline=None)
@given(st.lists(items, min_size=1, max_size=6))
def test_right_after_a_fit_every_item_has_the_posterior_of_the_program(program: list[PooledItem]) -> None:
    fit, known = fit_of(program), [(one.path, one.lives) for one in program]
    pieces = [fit.piece(UUID(int=number), *one) for number, one in enumerate(known)]
    at_once, now = posterior(tuple(known)), fit.posterior(pieces)
    assert now.points[now.which] == pytest.approx(at_once.points[at_once.which], rel=1e-9, abs=1e-15)
    others = [((*program[0].path, "lot 9"), ()), (DRUM, ()), known[0]]
    said = fit.renewed([*(Piece(*one) for one in others[:2]), pieces[0]], [10.0, 40.0])
    there = posterior((*known, *others[:2]))
    anew = expected_failures(there.points[there.which[[*range(len(known), len(known) + 2), 0]]], [10.0, 40.0])
    for mine, other in zip(said, anew, strict=True):
        assert [*mine[0], mine[1]] == pytest.approx([*other[0], other[1]], rel=1e-6)


def test_an_item_that_changed_its_class_is_judged_by_the_new_one() -> None:
    fit = fit_of([item(CABLE, passed=200), *[item(LOT_1, passed=20)] * 4])
    moved = fit.piece(UUID(int=0), LOT_1, item(LOT_1, passed=200).lives)
    assert moved.fitted is None
    assert fit.fails_between([moved], [60], [90]) == fit.fails_between([replace(moved)], [60], [90])


def test_a_fit_comes_back_as_it_was_stored() -> None:
    worn = [item(LOT_1, Life(day, day + 30), passed=day) for day in (20.0, 40.0, 80.0, 90.0, 95.0)]
    fit = fit_of([*worn, item(CABLE, passed=120)])
    models = class_models({LOT_1: [life for one in worn for life in one.lives], CABLE: [Life(120, None)]})
    assert models.fitted
    document = as_document(fit, models)
    again = tables_of(document, as_text(fit.tables))
    assert items_of(document) == fit.items
    assert models_of(document) == models
    for mine, other in ((again.known, fit.tables.known), (again.within, fit.tables.within)):
        assert mine.keys() == other.keys()
        assert all(np.array_equal(mine[path], other[path]) for path in other)
