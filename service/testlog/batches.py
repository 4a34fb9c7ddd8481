"""Tests of several phones that are logged together."""

import logging
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.exc import DBAPIError

from service.crew.context import RequestContext
from service.kit.problems import Busy, Problem
from service.store.receipts import WriteRequest, all_once
from service.testlog import actions
from service.testlog.core import NewTest, SubmittedTest
from service.web.batcher import WriteBatcher

ACTION = "test.log"
LOG = logging.getLogger("coilbook")


@dataclass(frozen=True)
class PendingTest:
    """A test, the context of its request, when it came, and what makes it the same test when it is told again."""

    context: RequestContext
    new: NewTest
    content: Any
    at: datetime


def gathering() -> WriteBatcher[PendingTest, Any]:
    """Where tests wait while others are logged."""
    return WriteBatcher(log, _touches)


def _touches(told: PendingTest) -> Collection[object]:
    """Its id and the codes of what it went through, as they were typed."""
    return {told.new.id, told.new.item, *told.new.through}


def log(told: Sequence[PendingTest]) -> Sequence[Any]:
    """The answer to each, or what it was refused by."""
    if len(told) > 1:
        try:
            return _at_once(told)
        except Busy as busy:
            return [busy] * len(told)
        except (Problem, DBAPIError):
            pass  # one of them is not like the others: each goes by itself, and is told so by itself
        except Exception:  # the same, but nobody foresaw it
            LOG.exception("tests that went together broke; each goes by itself")
    outcomes: list[Any] = []
    for one in told:
        last = outcomes[-1] if outcomes else None
        # A busy database was waited for: the rest is told so too, and comes again.
        outcomes.append(last if isinstance(last, Busy) else _alone(one))
    return outcomes


def _at_once(told: Sequence[PendingTest]) -> Sequence[Any]:
    outcomes: dict[UUID, Any] = {}
    let_in = []
    with told[0].context.store.writing() as db:
        # By their ids, so that of two workers that get the same ones none waits for the other.
        for one in sorted(told, key=lambda one: one.new.id):
            try:
                one.context.identify(db)
                let_in.append(one)
            except Problem as refusal:  # somebody whose access has ended holds up nobody else
                outcomes[one.new.id] = refusal
        if let_in:
            asked = [WriteRequest(one.new.id, ACTION, one.content, one.at) for one in let_in]
            said = [SubmittedTest(one.new, one.context.me, one.at) for one in let_in]
            zone = let_in[0].context.zone
            answers = all_once(db, asked, lambda: actions.log_tests(db, said, zone))
            outcomes |= {one.new.id: answer for one, answer in zip(let_in, answers, strict=True)}
    return [outcomes[one.new.id] for one in told]


def _alone(one: PendingTest) -> Any:
    context = one.context
    try:
        return context.once(
            one.new.id,
            ACTION,
            one.content,
            lambda db: actions.log_test(db, one.new, context.me, one.at, context.zone),
            lambda db: actions.logged_as(db, one.new),
        )
    except Exception as error:  # whoever told it is answered by it
        return error
