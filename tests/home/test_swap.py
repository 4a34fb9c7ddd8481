"""A tag that hangs on the wrong piece: seen, compared end by end, reported, replaced."""

import pytest

from service.gear.queries import place_named
from service.tags.actions import retag, tag_places
from tests.home.support import Truck, truck
from tests.support.program import Running, op


@pytest.fixture
def at(program: Running) -> Truck:
    return truck(program, ("Marimba, lower", "Frame 1", 10), ("vibes", "Frame 2", 15))


def test_the_page_says_what_the_book_knows_and_what_to_do(at: Truck) -> None:
    code = at.tags["vibes"]
    page = at.program.crew.get(f"/t/{code}/not-this").text
    for words in (
        "15 ft",
        "XLR socket",
        "XLR plug",
        "Frame 2",
        f'href="/scan?ends_of={code}"',
        f'href="/t/{code}/ends"',
    ):
        assert words in page
    assert f"/t/{code}/retag" not in page
    assert f'href="/t/{code}/retag"' in at.program.lead.get(f"/t/{code}/not-this").text
    assert f'href="/t/{code}/not-this"' in at.program.crew.get(f"/t/{code}").text


def test_a_report_is_a_note_at_the_item_once(at: Truck) -> None:
    code = at.tags["vibes"]
    request = {"op": op(), "what": "a 25 ft cable with a red band"}
    for _ in range(2):
        answer = at.program.crew.post(f"/t/{code}/not-this", data=request)
        assert answer.headers["location"] == f"/t/{code}?other=1"
    assert "Noted for your lead" in at.program.crew.get(answer.headers["location"]).text
    record = at.program.lead.get(f"/gear/{code}").text
    assert record.count("hang on the wrong item. What it hangs on: a 25 ft cable with a red band") == 1


def test_swapped_tags_are_noted_at_both_items(at: Truck) -> None:
    one, other = at.tags["vibes"], at.tags["Marimba, lower"]
    at.program.crew.post(f"/t/{one}/not-this", data={"op": op(), "other": other.lower()})
    assert f"The tag at its other end is {other}." in at.program.lead.get(f"/gear/{one}").text
    assert f"this tag hangs on one piece with {one}." in at.program.lead.get(f"/gear/{other}").text


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ("7K3", "other", "has 3"),
        ("7K3M9U", "other", "not a tag of this program"),
        ("{same}", "other", "of the same item"),
        ("x" * 301, "what", "300 characters"),
    ],
)
def test_a_report_that_cannot_be_is_told_at_its_field(at: Truck, typed: str, field: str, says: str) -> None:
    code = at.tags["vibes"]
    answer = at.program.crew.post(f"/t/{code}/not-this", data={"op": op(), field: typed.replace("{same}", code)})
    assert answer.status_code == 422
    assert says in answer.text
    assert "may hang on" not in at.program.lead.get(f"/gear/{code}").text


def test_both_ends_of_one_item_are_confirmed_and_lead_on_to_the_test(at: Truck) -> None:
    code = at.tags["vibes"]
    page = at.program.crew.get(f"/t/{code}/ends", params={"far": f" {code[:3]}-{code[3:].lower()}"})
    assert page.status_code == 200
    assert "Yes: both ends are vibes" in page.text
    assert f'href="/t/{code}/test"' in page.text


def test_ends_of_two_items_are_warned_of_with_both_named(at: Truck) -> None:
    near, far = at.tags["vibes"], at.tags["Marimba, lower"]
    session = op()
    page = at.program.crew.get(f"/t/{near}/ends", params={"far": far, "session": session}).text
    assert "No: these are two items" in page
    assert f"This end says vibes ({near}), the other says Marimba, lower ({far})." in page
    assert f'name="other" value="{far}"' in page
    assert f"/t/{near}/test" not in page
    assert f'href="/scan?ends_of={near}&amp;session={session}"' in page


def test_an_old_tag_at_the_other_end_still_tells_its_item(at: Truck) -> None:
    old = at.tags["vibes"]
    with at.program.store.writing() as db:
        new = retag(db, old, at.actor)
    assert "Yes: both ends" in at.program.crew.get(f"/t/{new}/ends", params={"far": old}).text
    assert at.program.crew.get(f"/t/{old}/ends", params={"far": new}).status_code == 410


@pytest.mark.parametrize("typed", ["7K3", "7K3M9U", "{place}"])
def test_a_far_end_that_is_no_item_is_told(at: Truck, typed: str) -> None:
    with at.program.store.writing() as db:
        place = place_named(db, "Frame 1")
        assert place is not None
        [code] = tag_places(db, [place.id], at.program.clock.now)
    answer = at.program.crew.get(f"/t/{at.tags['vibes']}/ends", params={"far": typed.replace("{place}", code)})
    assert answer.status_code == 422
    assert 'id="f-far-error"' in answer.text


def test_who_may_do_this(at: Truck) -> None:
    code = at.tags["vibes"]
    for path in ("not-this", "ends"):
        assert at.program.viewer.get(f"/t/{code}/{path}").status_code == 403
        assert at.program.stranger.get(f"/t/{code}/{path}").status_code == 401
    assert at.program.viewer.post(f"/t/{code}/not-this", data={"op": op()}).status_code == 403
