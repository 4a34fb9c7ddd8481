"""What is marked on the test form stays whatever view of it is chosen: with script in place, without carried along."""

import re
from collections.abc import Iterator
from itertools import combinations
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.outbox.support import Truck, truck
from tests.support.program import Running, form_of_a_test
from tests.testers.test_lamps import describe
from tests.testlog.support import bench
from tests.testlog.test_pages import Filled, result, send

LANES = ("d25-to-xlr8", "d25x8-screened", "8p8c-to-xlr4", "8p8c-screened", "xlr3x8")
CONTROLS = """() => [...document.querySelectorAll("#test :is([data-row] *, [name=touch], [name=lane])")]
  .filter(one => one.matches("input, option"))
  .map(one => [one.name || one.parentElement.name, one.value, one.checked || one.selected,
               one.closest("[data-row]")?.innerText.replace(/\\s+/g, " ") ?? one.closest("label")?.innerText,
               one.closest("[hidden]") !== null, one.closest(".good") !== null])"""


@pytest.fixture(scope="module")
def at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Truck]:
    path = tmp_path_factory.mktemp("marks") / "coilbook.db"
    with truck(f"sqlite:///{path}", *LANES, "d25x8", "d25-to-xlr8") as made:
        yield made


@pytest.fixture
def page(at: Truck, phone: BrowserContext) -> Page:
    return at.joined(phone)


def code_of(at: Truck, page: Page, wiring: str, nth: int = 0) -> str:
    """The code of an item with this wiring; `nth` where there are several."""
    items = page.request.get(f"{at.base}/api/v1/items").json()["items"]
    return str([item["code"] for item in items if item["wiring"] == wiring][nth])


def choose(page: Page, lane: str) -> None:
    page.locator(f'[data-lane="{lane}"]').click()


@pytest.mark.browser
def test_lanes_are_asked_alike_by_phone_and_service(at: Truck, page: Page) -> None:
    """One lane, two that may touch each other, and more: the same contacts, choices and pairs, in the same order."""
    for wiring in LANES:
        address = f"{at.base}/t/{code_of(at, page, wiring)}/test"
        page.goto(address)
        every = page.locator("[data-lane]").evaluate_all("all => all.map(one => one.dataset.lane)")
        for lanes in [*combinations(every[:2], 1), (every[0], every[-1]), every[:3]]:
            page.goto(address)
            page.get_by_text("Mark what was found", exact=True).click()
            for lane in lanes:
                choose(page, lane)
            page.evaluate("document.querySelectorAll('#test details').forEach(one => { one.open = true })")
            here = page.evaluate(CONTROLS)
            page.goto(f"{address}?" + "&".join(f"lane={lane}" for lane in lanes))
            page.evaluate("document.querySelectorAll('#test details').forEach(one => { one.open = true })")
            assert sorted(here) == sorted(page.evaluate(CONTROLS)), (wiring, lanes)
            assert [each for each in here if each[0] != "lane"], (wiring, lanes)


@pytest.mark.browser
def test_nothing_reloads_and_marks_stay(at: Truck, page: Page) -> None:
    trunk, hub = code_of(at, page, "d25x8"), code_of(at, page, "d25-to-xlr8", 1)
    page.goto(f"{at.base}/t/{trunk}/test")
    page.evaluate("window.stays = true")
    page.get_by_text("Mark what was found", exact=True).click()
    choose(page, "3")
    row = page.locator("[data-row]").nth(1)
    row.get_by_label("none").check()
    contact = row.get_attribute("data-row")
    page.get_by_label("Note").fill("lane 3 is dead")
    page.get_by_label("Cut jacket").check()
    with at.no_signal():  # nothing of this asks anybody
        choose(page, "5")
        choose(page, "3")  # of which something is marked: it stays
    assert page.locator("[data-row]").count() == 6 + 1  # contact 13 is in no use
    choose(page, "5")
    expect(page.locator(f'[name="{contact}"][value="-"]')).to_be_checked()

    # Through the hub the contacts are others, which is said; what else was entered stays.
    page.get_by_text("Tested through other pieces").click()
    page.get_by_label("Their codes").fill(hub)
    with at.no_signal():
        page.get_by_role("button", name="Test through these").click()
        expect(page.get_by_text("it could not be shown")).to_be_visible()
    expect(page.locator(f'[name="{contact}"][value="-"]')).to_be_checked()
    page.get_by_label("Their codes").press("Enter")
    expect(page.get_by_text("not carried over")).to_be_visible()
    expect(page.get_by_text(f"Through {trunk}, {hub}")).to_be_visible()
    expect(page.get_by_label("Note")).to_have_value("lane 3 is dead")
    expect(page.get_by_label("Cut jacket")).to_be_checked()
    expect(page.locator("[data-row]")).to_have_count(0)
    page.go_back()  # to the form as it was left
    expect(page.locator(f'[name="{contact}"][value="-"]')).to_be_checked()
    page.go_forward()
    assert page.evaluate("window.stays")

    choose(page, "4")
    page.locator("[data-row]").nth(1).get_by_label("none").check()
    page.get_by_role("button", name="This is the one I hold").click()
    page.locator(".actions").get_by_role("button", name="Fail").click()
    expect(page.get_by_text("Fail kept for")).to_be_visible()
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text(f"Through {trunk}, {hub}")).to_be_visible()
    expect(page.get_by_label("Note")).to_have_value("lane 3 is dead")
    expect(page.locator("[data-row]").nth(1).get_by_label("none")).to_be_checked()  # its lane is shown again


@pytest.mark.browser
def test_without_script_the_choice_carries_the_form(at: Truck, browser: Browser, page: Page) -> None:
    trunk = code_of(at, page, "d25x8")
    plain = browser.new_context(java_script_enabled=False)
    plain.add_cookies(page.context.cookies())  # type: ignore[arg-type]
    form, before = plain.new_page(), len(at.logged())
    form.goto(f"{at.base}/t/{trunk}/test")
    op = form.locator("#test [name=op]").get_attribute("value")
    form.get_by_text("Mark what was found", exact=True).click()
    choose(form, "3")
    form.locator("[data-row]").nth(1).get_by_label("none").check()
    form.get_by_label("Note").fill("lane 3 is dead")
    form.get_by_label("Bent behind both").check()
    form.get_by_text("How it was tested").click()
    form.get_by_label("Meter").check()
    choose(form, "5")
    assert form.locator('[data-lane][aria-pressed="true"]').all_inner_texts() == ["3", "5"]
    expect(form.locator("[data-row] :is([value='-']:checked)")).to_have_count(1 + 1)  # and contact 13, in no use
    expect(form.get_by_label("Note")).to_have_value("lane 3 is dead")
    expect(form.get_by_label("Bent behind both")).to_be_checked()
    expect(form.get_by_label("Meter")).to_be_checked()
    assert form.locator("#test [name=op]").get_attribute("value") == op
    assert len(at.logged()) == before
    plain.close()


def test_more_lanes_forget_no_pair_that_touches(program: Running) -> None:
    (code,) = bench(program, "xlr3x8").codes
    page = program.crew.get(f"/t/{code}/test", params={"lane": ["1", "2"]}).text
    touching = (
        re.findall(r'name="touch" value="([^"]*1\.2[^"]*2\.2[^"]*)"', page)
        or [pair for pair in re.findall(r'name="touch" value="([^"]+)"', page) if pair.startswith("A2+")][-1:]
    )
    sent = Filled("test", page).sent | {"touch": touching}
    more = program.crew.post(f"/t/{code}/test", data=sent | {"show": "7"}).text
    assert Filled("test", more).sent["touch"] == touching
    assert Filled("test", more).sent["lane"] == ["1", "2", "7"]
    assert program.viewer.get("/api/v1/tests").json()["items"] == []


def test_what_the_lamps_mean_keeps_the_form_and_leads_back_to_it(program: Running) -> None:
    tester, (code,) = describe(program), bench(program, "xlr3").codes
    form = program.crew.get(f"/t/{code}/test").text
    marks: dict[str, Any] = {"c1": "-", "note": "by the door", "flexed": "yes", "evidence": ["cut"]}
    sent = Filled("test", form).sent | marks | {"show": "lamps"}
    lamps = program.crew.post(f"/t/{code}/lamps", params={"tester": tester, "pattern": "1 2 3"}, data=sent).text
    carried = Filled("log", lamps).sent
    assert carried["op"] == sent["op"]
    assert (carried["note"], carried["flexed"], carried["c1"]) == (["by the door"], ["yes"], ["-"])
    others = program.crew.post(f"/t/{code}/lamps", params={"tester": tester}, data=carried | {"show": "lamps"}).text
    back = program.crew.post(f"/t/{code}/test", data=Filled("log", others).sent | {"show": ""}).text
    again = Filled("test", back).sent
    assert {name: again[name] for name in sent if name not in ("show", "note")} == {
        name: value if isinstance(value, list) else [value]
        for name, value in sent.items()
        if name not in ("show", "note")
    }
    assert "by the door" in back
    assert program.viewer.get("/api/v1/tests").json()["items"] == []
    program.clock.ahead(seconds=2)
    shown = program.crew.post(f"/t/{code}/lamps", data=carried)
    assert "<h1>Pass</h1>" in result(program, shown)
    assert "by the door" in result(program, shown)


def test_other_pieces_keep_the_lanes(program: Running) -> None:
    hub, trunk, fan = bench(program, "d25-to-xlr8", "d25x8", "d25-to-xlr8").codes
    data = form_of_a_test() | {"through": f"{trunk}", "lane-3": "fail", "open-3": "2", "note": "so far"}
    shown = program.crew.post(f"/t/{hub}/lanes", data=data | {"show": "pieces", "pieces": f"{trunk} {fan}"}).text
    kept = Filled("lanes", shown).sent
    assert (kept["lane-3"], kept["open-3"], kept["op"]) == (["fail"], ["2"], [data["op"]])
    assert kept["through"][0].split() == [trunk, fan]
    wrong = program.crew.post(f"/t/{hub}/lanes", data=data | {"show": "pieces", "pieces": "QQQQQQ"})
    assert wrong.status_code == 422
    assert Filled("lanes", wrong.text).sent["lane-3"] == ["fail"]
    assert 'value="QQQQQQ"' in wrong.text
    assert program.viewer.get("/api/v1/tests").json()["items"] == []


def test_pieces_that_are_none_cost_nothing(program: Running) -> None:
    (code,) = bench(program, "xlr3").codes
    page = program.crew.get(f"/t/{code}/test").text
    sent = Filled("test", page).sent | {"c1": "B3", "show": "pieces", "pieces": "nothing"}
    wrong = program.crew.post(f"/t/{code}/test", data=sent)
    assert wrong.status_code == 422
    assert Filled("test", wrong.text).sent["c1"] == ["B3"]
    assert 'href="#f-pieces"' in wrong.text
    assert send(program, code, wrong.text, "fail", c2="B2").status_code == 303


@pytest.mark.browser
def test_what_was_marked_is_there_again_where_the_way_back_leads_to_the_form(at: Truck, page: Page) -> None:
    address = f"{at.base}/t/{code_of(at, page, 'd25x8')}/test"
    page.goto(address)
    page.get_by_text("Mark what was found", exact=True).click()
    choose(page, "3")
    row = page.locator("[data-row]:visible").first
    key = row.get_attribute("data-row")
    row.get_by_label("none").check()
    page.get_by_label("Note").fill("cut at the drum")
    page.get_by_role("link", name="Check that both ends").click()
    page.wait_for_url("**/ends*")
    page.go_back()
    expect(page.get_by_label("Note")).to_have_value("cut at the drum")
    assert page.evaluate("key => new FormData(document.getElementById('test')).get(key)", key) == "-"
    page.reload()
    expect(page.get_by_label("Note")).to_have_value("cut at the drum")
    page.get_by_role("link", name="Gear", exact=True).click()
    page.wait_for_url("**/gear*")
    page.goto(address)  # opened anew it is empty
    expect(page.locator("#test [name=lane]")).to_have_count(0)
    expect(page.locator("[name=note]")).to_have_value("")
