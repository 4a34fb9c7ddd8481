"""What a statement reads, as each engine explains it: whether it goes through a whole table that grows with the log."""

import re
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, event

from tests.support.statements import Asked

LOG = frozenset({"test", "test_item", "fault", "repair", "state_change", "flag", "receipt", "audit_entry"})
"""Tables that grow with every test, repair or change. Voids, marks as wrong and swaps are few beside them."""
_LOOK_UPS = ("enable_seqscan", "enable_hashjoin", "enable_mergejoin")


def scans_of_sqlite(connection: Connection, asked: Asked) -> list[str]:
    """The tables of the log that SQLite would go through, but for a page that ends before the table does."""
    plan = [row[3] for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {asked.text}", asked.values)]
    if "LIMIT" in asked.text and not any("TEMP B-TREE" in step for step in plan):
        return []
    names = {alias: table for table, alias in re.findall(r'(?:FROM|JOIN) "?(\w+)"? AS "?(\w+)"?', asked.text)}
    read = [step.split()[1] for step in plan if step.startswith("SCAN ")]
    return [table for table in (names.get(name, name) for name in read) if table in LOG]


def scans_of_postgres(connection: Connection, asked: Asked) -> list[str]:
    """The same of PostgreSQL, told to look up whatever an index allows, since its tables are empty here."""
    for setting in _LOOK_UPS:
        connection.exec_driver_sql(f"SET LOCAL {setting} = off")

    def explain(*of: Any) -> tuple[str, Any]:
        return f"EXPLAIN (FORMAT JSON) {of[2]}", of[3]

    event.listen(connection, "before_cursor_execute", explain, retval=True)
    try:
        made = asked.made.execution_options(yield_per=None, stream_results=False)  # no cursor on the server
        cursor: Any = connection.execute(made, asked.named).cursor
        [[[plan]]] = cursor.fetchall()
    finally:
        event.remove(connection, "before_cursor_execute", explain)
    return list(_scans(plan["Plan"], ends_early=False))


def _scans(node: dict[str, Any], *, ends_early: bool) -> Iterator[str]:
    kind, below = node["Node Type"], node.get("Plans", [])
    if "Scan" in kind and node.get("Relation Name") in LOG:
        looked_up = "Index Cond" in node or "Recheck Cond" in node or "TID Cond" in node
        if not looked_up and not (ends_early and "Filter" not in node):
            yield node["Relation Name"]
    ends_early = kind == "Limit" or (ends_early and kind in ("Nested Loop", "Memoize", "Materialize", "Subquery Scan"))
    for position, inner in enumerate(below):
        # Of a join only the outer side ends early: the inner one is gone through for each of its rows.
        yield from _scans(inner, ends_early=ends_early and (kind != "Nested Loop" or position == 0))
