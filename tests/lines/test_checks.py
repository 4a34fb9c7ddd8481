"""Line checks as people do them: the wall, several phones, what is to blame, what to try, and what it was."""

import re
from datetime import timedelta
from html import unescape
from typing import Any
from uuid import UUID

import pytest

from service.gear.queries import is_suspect
from tests.lines.test_inputs import Inputs
from tests.support.program import Running, op, running


class Check:
    """A line check over two channels that share a hub and its multicore, and one that has no line."""

    def __init__(self, program: Running) -> None:
        self.program, self.crew, self.inputs = program, program.crew, Inputs(program)
        inputs = self.inputs
        self.channels = [
            inputs.add(1, inputs.one, inputs.hub, inputs.trunk, lane="1")["id"],
            inputs.add(2, inputs.two, inputs.hub, inputs.trunk, lane="2")["id"],
            inputs.add(3)["id"],
        ]
        self.program.clock.ahead(minutes=1)
        form = {"op": op(), "input_list": inputs.list, "minutes": "2.5"}
        started = self.crew.post("/line-checks", data=form)
        assert started.status_code == 303, started.text
        self.path = started.headers["location"]
        assert self.crew.post("/line-checks", data=form).headers["location"] == self.path
        self.id = self.path.rpartition("/")[2]

    def entry(self, number: int, heard: str, **more: Any) -> dict[str, Any]:
        return {"id": op(), "check": self.id, "channel": self.channels[number - 1], "heard": heard} | more

    def hear(self, number: int, heard: str, who: Any = None, status: int = 201, **more: Any) -> Any:
        self.program.clock.ahead(seconds=2)
        answer = (who or self.crew).post("/api/v1/heard", json=self.entry(number, heard, **more))
        assert answer.status_code == status, answer.text
        return answer.json()

    def stands(self) -> list[tuple[str | None, bool, bool]]:
        answer = self.crew.get(f"/api/v1/line-checks/{self.id}")
        assert answer.status_code == 200, answer.text
        return [(one["heard"], one["disputed"], one["again"]) for one in answer.json()["channels"]]

    def page(self, path: str = "") -> str:
        answer = self.crew.get(self.path + path)
        assert answer.status_code == 200, answer.text
        main = answer.text.partition("<main")[2].partition("</main>")[0]
        return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", "", main)))


@pytest.fixture
def check(program: Running) -> Check:
    return Check(program)


def test_what_is_sent_twice_is_there_once_and_the_latest_shows(check: Check) -> None:
    entry = check.entry(1, "good")
    first = check.crew.post("/api/v1/heard", json=entry)
    assert check.crew.post("/api/v1/heard", json=entry).json() == first.json()
    assert first.status_code == 201
    assert check.crew.post("/api/v1/heard", json=entry | {"heard": "dead"}).status_code == 422
    assert check.stands() == [("good", False, False), (None, False, False), (None, False, False)]
    check.hear(1, "dead")
    assert check.stands()[0] == ("dead", False, False)
    assert "0 good, 1 dead, 0 crossed, 2 left" in check.page()


def test_two_phones_that_disagree_are_marked_and_what_comes_late_is_put_where_it_belongs(check: Check) -> None:
    at = check.program.clock.now
    check.program.clock.ahead(minutes=1)
    check.hear(1, "good", at=(at + timedelta(seconds=30)).isoformat())
    check.hear(1, "dead", check.program.lead, at=(at + timedelta(seconds=10)).isoformat())
    assert check.stands()[0] == ("good", True, False)
    assert "Good, two disagree" in check.page()
    check.hear(1, "good", check.program.lead)
    assert check.stands()[0] == ("good", False, False)


def test_what_cannot_be_is_refused_with_the_field(check: Check) -> None:
    other = check.inputs.make(event=str(check.inputs.event))
    answer = check.program.lead.post(
        f"/api/v1/input-lists/{other}/channels", json={"id": op(), "number": 1, "source": "Voice", "items": []}
    )
    foreign = answer.json()["id"]
    assert "not on the input list" in check.hear(1, "dead", channel=foreign, status=422)["detail"]
    assert "which other channel" in check.hear(1, "crossed", status=422)["detail"]
    assert "which other channel" in check.hear(1, "crossed", sounds_as=check.channels[0], status=422)["detail"]
    assert check.hear(1, "dead", check=op(), status=404)
    assert check.program.viewer.post("/api/v1/heard", json=check.entry(1, "dead")).status_code == 403
    form = {"op": op(), "input_list": check.inputs.list, "minutes": "soon"}
    assert check.crew.post("/line-checks", data=form).status_code == 422


def test_a_key_works_without_script_and_crossed_channels_are_told_apart(check: Check) -> None:
    one, two, _ = check.channels
    for key, as_what in ((one, two), (two, one)):
        check.program.clock.ahead(seconds=1)
        form = {"op": op(), "channel": key, "heard": "crossed", "sounds_as": as_what}
        assert check.crew.post(f"{check.path}/heard", data=form).status_code == 303
    assert "Sounds as 2" in check.page()
    assert "1 Source 1 and 2 Source 2 sound on each other's keys. Nothing of theirs is dead" in check.page("/blame")
    refused = check.crew.post(f"{check.path}/heard", data={"op": op(), "channel": one, "heard": "loud"})
    assert refused.status_code == 422


def test_blame_says_how_probably_each_is_bad_and_where_the_figure_is_from(check: Check) -> None:
    check.hear(1, "dead")
    check.hear(2, "good")
    told = check.page("/blame")
    assert "The plug between" in told
    assert "0 of 2 in this program's line checks, and common practice" in told
    assert "this program's risk of this item" in told
    # The hub and the multicore carry channel 2, which was heard good.
    assert f"/t/{check.inputs.one}" in check.crew.get(f"{check.path}/blame").text
    assert f"/t/{check.inputs.two}" not in check.crew.get(f"{check.path}/blame").text


def test_the_answers_lead_to_the_part_and_it_is_logged_swapped_and_listened_to_again(check: Check) -> None:
    check.hear(1, "dead")
    check.hear(2, "good")
    path, cable = f"{check.path}/channels/{check.channels[0]}", f"item {check.inputs.at.ids[check.inputs.one]}"
    page = check.crew.get(path).text
    for _ in range(12):
        if f'value="{cable}" selected' in page:
            break
        answers = re.findall(rf'href="({re.escape(path)}\?out=[\d.]*)"', page)
        assert answers, page
        page = check.crew.get(answers[-1]).text  # still dead
    else:
        pytest.fail("the cable is never asked for")
    form = {"op": op(), "what": cable, "out": ""}
    logged = check.crew.post(f"{path}/cause", data=form)
    assert (logged.status_code, logged.headers["location"]) == (303, f"/swap?bad={check.inputs.one}")
    with check.program.store.reading() as db:
        assert is_suspect(db, check.inputs.at.ids[check.inputs.one])
    assert check.stands()[0] == (None, False, True)
    assert "Listen again" in check.page()
    check.hear(1, "dead")
    assert check.stands()[0] == ("dead", False, False)
    check.program.clock.ahead(seconds=5)
    swap = {"id": op(), "bad": check.inputs.one, "spare": check.inputs.spare, "anyway": True}
    assert check.crew.post("/api/v1/swaps", json=swap).status_code == 201
    assert check.stands()[0] == (None, False, True)
    assert "It is not dead" in check.page(f"/channels/{check.channels[0]}")


def test_what_was_found_on_an_item_is_logged_as_a_failed_test_at_its_end(check: Check) -> None:
    check.hear(1, "dead")
    item, channel = check.inputs.at.ids[check.inputs.one], check.channels[0]
    cause = {"check": check.id, "channel": channel, "what": f"item {item}", "evidence": "bent", "end": "B", "id": op()}
    check.program.clock.ahead(seconds=5)
    receipt = check.crew.post("/api/v1/causes", json=cause)
    assert (receipt.status_code, receipt.json()["kind"]) == (201, "item")
    assert receipt.json()["stands"] == {check.inputs.one: "quarantined"}
    assert check.crew.post("/api/v1/causes", json=cause).json() == receipt.json()
    (test,) = check.crew.get(f"/api/v1/tests?item={check.inputs.one}").json()["items"]
    assert (test["id"], test["verdict"], test["method"]) == (cause["id"], "fail", "listening")
    assert test["evidence"] == [{"class": "damage", "end": "B", "note": "bent contact"}]
    assert check.stands()[0] == (None, False, True)


def test_something_is_found_on_items_only(check: Check) -> None:
    check.hear(1, "dead")
    muted = {"id": op(), "check": check.id, "channel": check.channels[0], "what": f"muted {check.channels[0]}"}
    refused = check.crew.post("/api/v1/causes", json=muted | {"evidence": "bent"})
    assert refused.status_code == 422
    assert "Leave it out" in refused.text
    assert check.crew.post("/api/v1/causes", json=muted | {"evidence": "singing"}).status_code == 422
    assert check.crew.post("/api/v1/causes", json=muted).json()["stands"] == {}


def test_a_phone_gets_all_that_a_check_is_judged_by(check: Check) -> None:
    check.hear(1, "dead")
    package = check.crew.get(f"/api/v1/line-checks/{check.id}/package").json()
    assert [channel["id"] for channel in package["channels"]] == check.channels
    assert package["check"]["channels"][0]["heard"] == "dead"
    assert all(
        key in package["components"] for one in package["channels"] for part in one["parts"] for key in part["keys"]
    )


def test_a_muted_channel_is_logged_with_the_check_and_moves_the_programs_own_rate(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        check = Check(program)
        check.hear(3, "dead")
        assert "Next" in check.page(f"/channels/{check.channels[2]}?out=" + "9" * 5000 + ".x.-1.")
        path = f"{check.path}/channels/{check.channels[2]}"
        form = {"op": op(), "what": f"muted {check.channels[2]}", "note": "fader down"}
        assert check.crew.post(f"{path}/cause", data=form).headers["location"] == f"{check.path}?said=logged"
        assert check.crew.post(f"{path}/cause", data=form).status_code == 303
        gone = check.crew.post(f"{path}/cause", data={"op": op(), "what": "item of nothing"})
        assert gone.status_code == 422
        assert "A muted channel 1" in re.sub(
            r"\s+", " ", re.sub(r"<[^>]*>", "", check.crew.get("/line-checks/lessons").text)
        )
        check.hear(3, "dead")
        assert "1 of 1 in this program's line checks" in check.page("/blame")
        assert check.crew.get(f"{check.path}/channels/{UUID(int=1)}").status_code == 404


def test_an_ended_check_stays_as_it_was_and_takes_what_comes_late(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        check = Check(program)
        check.hear(1, "dead")
        end = {"op": op()}
        assert check.crew.post(f"{check.path}/end", data=end).status_code == 303
        assert check.crew.post(f"{check.path}/end", data=end).status_code == 303
        check.hear(2, "good", at=check.program.clock.now.isoformat())
        assert check.stands()[:2] == [("dead", False, False), ("good", False, False)]
        assert "1 channel was dead" in re.sub(r"\s+", " ", check.crew.get("/line-checks").text)
        assert "disabled" in check.crew.get(check.path).text


def test_an_event_that_had_a_line_check_stays(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        check = Check(program)
        assert check.crew.get(f"/api/v1/line-checks/{check.id}").json()["event"] == str(check.inputs.event)
        dropped = program.lead.post(f"/season/events/{check.inputs.event}/drop", data={"op": op()})
        assert dropped.status_code == 409
        assert "had a line check" in dropped.text
