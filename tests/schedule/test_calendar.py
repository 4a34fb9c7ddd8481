"""The calendar feed: what is in it, read back by a second library (vobject), and by clients' rules of change."""

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st

from service.schedule.calendar.actions import SECRET_BYTES
from service.schedule.calendar.core import CalendarEntry, feed
from tests.support.program import Running, op

SEASON = {"name": "Fall 2026", "starts": "2026-08-03", "ends": "2026-11-15", "rounds": "2", "who": "all"}
EVENT = {"name": "Lantern Field", "kind": "competition", "on": "2026-10-10"}


def link(program: Running, label: str = "Directors") -> str:
    page = program.lead.post("/calendar/links", data={"label": label})
    assert page.status_code == 200, page.text
    (path,) = re.findall(r"<code>http://cables\.test(/calendar/[\w-]+\.ics)</code>", page.text)
    return str(path)


def read(program: Running, path: str) -> dict[str, Any]:
    """What a calendar program makes of the feed: its entries by their UIDs."""
    answer = program.stranger.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    calendar = vobject.readOne(answer.text)
    return {entry.uid.value: entry for entry in calendar.contents.get("vevent", [])}


def only(entries: dict[str, Any], start: str) -> Any:
    (found,) = [entry for uid, entry in entries.items() if uid.startswith(start)]
    return found


def season(program: Running) -> str:
    made = program.lead.post("/season/new", data={"op": op()} | SEASON)
    return str(made.headers["location"].rpartition("/")[2])


def event(program: Running, season_id: str, **more: str) -> None:
    answer = program.lead.post(f"/season/{season_id}/events", data={"op": op()} | EVENT | more)
    assert answer.status_code == 303


def test_it_holds_rounds_events_and_sessions_without_anybodys_name(program: Running) -> None:
    season_id = season(program)
    event(program, season_id)
    cable = {"kind": "cable", "wiring": "xlr3", "length": "10 ft", "place": "Frame 3"}
    item = program.lead.post("/api/v1/items", json={"id": op()} | cable)
    assert item.status_code == 201
    opened = program.lead.post(
        "/sessions",
        data={"op": op(), "title": "Thursday tests", "on": "2026-09-24", "why": ["untested"]},
    )
    assert opened.status_code == 303, opened.text
    entries = read(program, link(program))
    told = {(entry.summary.value, entry.dtstart.value, entry.dtend.value) for entry in entries.values()}
    day = timedelta(days=1)
    assert told == {
        (words, on, on + day)
        for words, on in (
            ("Fall 2026: round 1 opens", date(2026, 8, 3)),
            ("Fall 2026: round 1 ends today", date(2026, 9, 23)),
            ("Fall 2026: round 2 opens", date(2026, 9, 24)),
            ("Fall 2026: round 2 ends today", date(2026, 11, 15)),
            ("Lantern Field", date(2026, 10, 10)),
            ("Thursday tests (test session)", date(2026, 9, 24)),
        )
    }
    session = opened.headers["location"]
    assert only(entries, "session").url.value == f"http://cables.test{session}"
    program.clock.ahead(hours=1)
    moved = {"op": op(), "title": "Friday tests", "on": "2026-09-25", "note": "Crew B", "codes": ""}
    assert program.lead.post(f"{session}/change", data=moved).status_code == 303
    changed = only(read(program, link(program)), "session")
    assert (changed.dtstart.value, changed.sequence.value) == (date(2026, 9, 25), "1")
    assert changed.last_modified.value == program.clock.now
    program.clock.ahead(days=3)
    closed = program.lead.post(f"{session}/close", data={"op": op(), "note": "Crew was quick"})
    assert closed.status_code == 303
    text = program.stranger.get(link(program)).text
    assert "Friday tests (test session\\, held)" in text.replace("\r\n ", "")
    for private in ("Lead", "Crew", "Viewer", "quick"):
        assert private not in text


def test_what_changes_keeps_its_uid_and_counts_up(program: Running) -> None:
    season_id = season(program)
    event(program, season_id)
    path = link(program)
    (event_id,) = re.findall(r'href="/pull/([0-9a-f-]+)"', program.viewer.get("/season").text)
    before = read(program, path)
    program.clock.ahead(hours=30)
    moved = {"op": op()} | EVENT | {"on": "2026-10-11"}
    assert program.lead.post(f"/season/events/{event_id}", data=moved).status_code == 303
    after = read(program, path)
    assert before.keys() == after.keys()
    was, now = only(before, "event"), only(after, "event")
    assert (int(was.sequence.value), int(now.sequence.value)) == (0, 1)
    assert now.dtstart.value == date(2026, 10, 11)
    assert now.last_modified.value - was.last_modified.value == timedelta(hours=30)
    same = {"op": op()} | EVENT | {"on": "2026-10-11"}
    assert program.lead.post(f"/season/events/{event_id}", data=same).status_code == 303
    assert only(read(program, path), "event").sequence.value == "1"  # nothing changed

    rounds = {"opens": ["2026-08-03", "2026-10-01"], "last": ["2026-09-10", "2026-11-15"]}
    changed = program.lead.post(f"/season/{season_id}/change", data={"op": op()} | SEASON | rounds)
    assert changed.status_code == 303
    latest = read(program, path)
    assert latest.keys() == after.keys()
    for uid, entry in latest.items():
        grown = int(entry.sequence.value) > int(after[uid].sequence.value)
        assert grown or entry.dtstart.value == after[uid].dtstart.value, uid
    assert only(latest, f"round-{season_id}-0-closes").dtstart.value == date(2026, 9, 10)
    assert program.lead.post(f"/season/events/{event_id}/drop", data={"op": op()}).status_code == 303
    assert not [uid for uid in read(program, path) if uid.startswith("event")]


def test_who_has_it_already_gets_nothing_new(program: Running) -> None:
    season_id = season(program)
    path = link(program)
    first = program.stranger.get(path)
    etag = first.headers["etag"]
    for known in (etag, etag.removeprefix("W/"), f'"other", {etag}'):
        program.clock.ahead(days=1)
        again = program.stranger.get(path, headers={"If-None-Match": known})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", etag)
    event(program, season_id)
    changed = program.stranger.get(path, headers={"If-None-Match": etag})
    assert changed.status_code == 200
    assert changed.headers["etag"] != etag


def test_it_says_how_often_to_look(program: Running) -> None:
    lines = program.stranger.get(link(program)).text.split("\r\n")
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT12H" in lines  # RFC 7986, 5.7
    assert "X-PUBLISHED-TTL:PT12H" in lines


def test_a_link_ends_at_once_and_the_others_go_on(program: Running) -> None:
    directors, parents = link(program), link(program, "Parents")
    page = program.lead.get("/calendar").text
    secret = directors.rpartition("/")[2].removesuffix(".ics")
    assert secret not in page  # shown once
    assert len(secret) * 6 >= SECRET_BYTES * 8 >= 128
    (end,) = re.findall(r'action="(/calendar/links/[^"]+/end)">\s*<p><b>Directors', page)
    for _ in range(2):
        assert program.lead.post(end).status_code == 303
    assert program.stranger.get(directors).status_code == 410
    assert program.stranger.get(parents).status_code == 200
    assert program.stranger.get("/calendar/never-was.ics").status_code == 410
    assert "<b>Directors" not in program.lead.get("/calendar").text


def test_only_a_lead_makes_and_ends_links(program: Running) -> None:
    for client, status in ((program.crew, 403), (program.viewer, 403), (program.stranger, 401)):
        assert client.get("/calendar").status_code == status
        assert client.post("/calendar/links", data={"label": "x"}).status_code == status
    for label, words in (("  ", "Say whom"), ("x" * 61, "60 are the most")):
        answer = program.lead.post("/calendar/links", data={"label": label})
        assert answer.status_code == 422
        assert words in answer.text
    absent = "/calendar/links/5b0a2b9e-0000-4000-8000-000000000000/end"
    assert program.lead.post(absent).status_code == 404


NAMES = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=120)
ENTRIES = st.lists(
    st.builds(
        CalendarEntry,
        st.uuids().map(lambda uid: f"{uid}@coilbook"),
        st.dates(date(2020, 1, 1), date(2035, 12, 31)),
        NAMES,
        st.integers(0, 10_000),
        st.integers(1_577_836_800, 2_082_000_000).map(lambda seconds: datetime.fromtimestamp(seconds, UTC)),
        st.sampled_from(["Round", "Show"]),
        place=NAMES,
    ),
    max_size=5,
)


@given(NAMES, ENTRIES)
def test_any_name_stays_inside_its_line(name: str, entries: list[CalendarEntry]) -> None:
    written = feed(name, entries)
    assert written == feed(name, entries)
    lines = written.split(b"\r\n")
    assert max(map(len, lines)) <= 75  # octets, RFC 5545, 3.1
    assert b"\n" not in b"".join(lines)
    assert b"\r" not in b"".join(lines)
    read_back = vobject.readOne(written.decode()).contents.get("vevent", [])
    told = [(entry.uid.value, entry.dtstart.value, int(entry.sequence.value)) for entry in read_back]
    assert told == [(entry.uid, entry.on, entry.sequence) for entry in entries]
    properties = {key for entry in read_back for key in entry.contents}
    assert properties <= {
        "uid",
        "dtstamp",
        "last-modified",
        "sequence",
        "summary",
        "dtstart",
        "dtend",
        "transp",
        "categories",
        "location",
    }


@pytest.mark.parametrize("injected", ["\r\nATTENDEE:mailto:x@example.org", "\nEND:VEVENT", "\rBEGIN:VALARM"])
def test_a_line_break_in_a_name_begins_no_line(injected: str) -> None:
    at = datetime(2026, 9, 1, tzinfo=UTC)
    written = feed("Fernhollow", [CalendarEntry("1@coilbook", at.date(), f"Lantern{injected}", 0, at, "Show")])
    begun = [line.partition(b":")[0] for line in written.split(b"\r\n")]
    assert (begun.count(b"BEGIN"), begun.count(b"END"), begun.count(b"ATTENDEE")) == (2, 2, 0)
    summary = vobject.readOne(written.decode()).vevent.summary.value
    assert summary == f"Lantern {injected.strip()}"
