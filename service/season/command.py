"""`coilbook due`: what is due, without a database. The first line is the season, every later one an item.

    {"season": {"starts": "2026-08-03", "ends": "2026-11-15", "rounds": 2}, "today": "2026-10-01"}
    {"code": "any", "in_service_on": "2026-08-03", "history": [{"on": "2026-08-20", "what": "pass"}]}

answers `{"code": "any", "state": "due", "due_by": "2026-11-16", "round": 1}`.

Days are those of 1900 to 2199, and January 1, 2200: a season may end the day before, and what is due by then can be
asked about in its turn. A season cannot end on it.
"""

from collections.abc import Mapping
from datetime import date
from functools import partial
from itertools import pairwise
from typing import Any, Final, TextIO

from service.kit.dates import parse_date
from service.kit.jsonlines import answer_lines, lines_of, read_object, refuse_line
from service.kit.problems import Problem
from service.season.core import HistoryEntry, Round, Season, What, due, split

_AFTER_ALL: Final = "2200-01-01"
"""The day after the last possible date, on which a round that ends with that date closes."""


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answer each item of `stdin` on `stdout`; the exit status is 1 if any line was refused."""
    lines = iter(lines_of(stdin))
    first = next((line for line in lines if line.strip()), "")
    try:
        season, today = _read_season(first)
    except Problem as problem:
        refuse_line(stdout, problem, key="code")
        return 1
    return answer_lines(lines, stdout, partial(_answer, season, today), key="code")


def _read_season(line: str | bytes) -> tuple[Season, date]:
    if not line:
        raise Problem('The first line must be the season, like {"season": {…}, "today": "2026-10-01"}.')
    fields = read_object(line)
    season = fields.get("season")
    if not isinstance(season, dict):
        raise Problem('The first line lacks "season", an object with "starts", "ends" and "rounds".')
    starts, ends = _date(season, "starts"), _date(season, "ends")
    return Season(starts, ends, _rounds(starts, ends, season.get("rounds"))), _date(fields, "today")


def _rounds(starts: date, ends: date, rounds: Any) -> tuple[Round, ...]:
    if isinstance(rounds, int) and not isinstance(rounds, bool):
        return split(starts, ends, rounds)
    if isinstance(rounds, list) and all(isinstance(each, dict) for each in rounds):
        return tuple(Round(_date(each, "opens"), _date(each, "closes")) for each in rounds)
    raise Problem('"rounds" must be a whole number, or a list of {"opens": date, "closes": date}.')


def _answer(season: Season, today: date, item: dict[str, Any]) -> dict[str, Any]:
    answer = due(season, _date(item, "in_service_on"), _history(item.get("history")), today)
    return {
        "code": item["code"],
        "state": answer.state,
        "due_by": answer.due_by and answer.due_by.isoformat(),
        "round": answer.round,
    }


def _history(history: Any) -> list[HistoryEntry]:
    if not isinstance(history, list):
        raise Problem('The item lacks "history", a list of {"on": date, "what": …}, empty if there is none.')
    entries = [_entry(each) for each in history]
    for earlier, later in pairwise(entries):
        if later.on < earlier.on:
            raise Problem(f"The history has {later.on} after {earlier.on}; put it in the order it happened.")
    return entries


def _entry(entry: Any) -> HistoryEntry:
    if not isinstance(entry, dict):
        raise Problem('Each entry of "history" must be an object with "on" and "what".')
    what = entry.get("what")
    if what not in list(What):
        raise Problem(f'“{what}” is not a "what"; it is one of {", ".join(What)}.')
    return HistoryEntry(_date(entry, "on"), What(what))


def _date(fields: Mapping[str, Any], name: str) -> date:
    text = fields.get(name)
    if not isinstance(text, str):
        raise Problem(f'"{name}" must be a date like "2026-10-06".')
    if text.strip() == _AFTER_ALL and name != "ends":
        return date.fromisoformat(_AFTER_ALL)
    try:
        return parse_date(text, name)
    except Problem as problem:
        raise Problem(f'"{name}": {problem.detail}') from problem
