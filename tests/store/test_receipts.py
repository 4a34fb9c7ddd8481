"""Receipts: the same write twice happens once."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.crew.models import AuditEntry
from service.kit.problems import Busy, Conflict, Reused
from service.store.receipts import Receipt, WriteRequest, digest_with_actor, once
from tests.support.program import Running


def write(program: Running, op: Any, content: Any, people: Sequence[UUID] = ()) -> Any:
    """One write of an audit line under `op`."""

    def do(db: Session) -> Any:
        db.add(AuditEntry(at=program.clock.now, action="counted", subject="", detail=content))
        return {"wrote": content}

    with program.store.writing() as db:
        return once(db, WriteRequest(op, "count", content, program.clock.now), lambda: people, lambda: do(db))


def counted(program: Running) -> int:
    with program.store.reading() as db:
        return db.scalar(select(func.count()).where(AuditEntry.action == "counted")) or 0


def test_again_gives_the_same_answer_and_writes_nothing(program: Running) -> None:
    op = uuid4()
    first = write(program, op, {"a": 1, "b": 2})
    assert write(program, op, {"b": 2, "a": 1}) == first
    assert counted(program) == 1


def test_other_content_under_the_same_id_is_refused(program: Running) -> None:
    op = uuid4()
    write(program, op, 1)
    with pytest.raises(Reused, match=str(op)):
        write(program, op, 2)
    assert counted(program) == 1


def test_receipts_that_also_say_who_asked_go_on_working(program: Running) -> None:
    op, who, others = uuid4(), uuid4(), [uuid4() for _ in range(3)]
    write(program, op, 1)
    with program.store.writing() as db:
        db.get_one(Receipt, op).digest = digest_with_actor("count", who, 1)
    with pytest.raises(Reused):
        write(program, op, 1, others)
    with pytest.raises(Reused):
        write(program, op, 2, [who])
    assert write(program, op, 1, [*others, who]) == {"wrote": 1}
    assert counted(program) == 1


def test_a_refused_write_leaves_no_receipt(program: Running) -> None:
    op = uuid4()

    def refuse() -> None:
        raise Conflict("not now")

    with pytest.raises(Conflict), program.store.writing() as db:
        once(db, WriteRequest(op, "count", 1, program.clock.now), list, refuse)
    with program.store.reading() as db:
        assert db.get(Receipt, op) is None


def test_fifty_at_once_write_one_row(program: Running) -> None:
    op = uuid4()

    def attempt(_number: int) -> Any:
        while True:
            try:
                return write(program, op, "x")
            except Busy:
                continue  # the phone sends it again

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(attempt, range(50)))
    assert answers == [{"wrote": "x"}] * 50
    assert counted(program) == 1
