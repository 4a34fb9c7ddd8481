"""What no test has proven yet has a sign of its own wherever its state stands, and none of it is green."""

import re

import pytest

from tests.support.program import Running, op

CHIP = re.compile(r'class="chip ([\w\- ]*)"[^>]*>.*?</svg><span>([^<]+?) *(?:<|$)', re.DOTALL)


def chips(page: str) -> dict[str, str]:
    """The chips of a page: the word of each, and its classes."""
    return {word.strip(): tone for tone, word in CHIP.findall(page)}


@pytest.mark.parametrize(("spare", "sign"), [(False, "In service, untested"), (True, "Spare, untested")])
def test_an_untested_item_has_its_own_sign_until_it_passes(program: Running, spare: bool, sign: str) -> None:
    lead = program.lead
    new = {"id": op(), "kind": "cable", "wiring": "xlr3", "length": "10 ft", "place": "Frame 3"}
    [made] = lead.post("/api/v1/items", json=new | ({"spare": True} if spare else {})).json()
    code, proven = made["code"], sign.removesuffix(", untested")
    pages = (
        f"/t/{code}",
        f"/t/{code}/test",
        f"/t/{code}/where",
        f"/gear/{code}",
        "/gear",
        f"/swap?bad={code}",
    )
    for path in pages:
        page = lead.get(path).text
        assert sign in chips(page), path
        assert proven not in chips(page), path
        assert not [word for word, tone in chips(page).items() if "is-pass" in tone], path
    for path in ("/due", f"/gear?state={made['state']}"):
        assert "is-pass" not in chips(lead.get(path).text).get("Untested", "is-pass"), path
    tested = {"id": op(), "item": code, "method": "two_ended", "probed": "all", "evidence": []}
    joined = [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]
    assert lead.post("/api/v1/tests", json=tested | {"joined": joined}).status_code == 201
    for path in pages:
        page = lead.get(path).text
        assert proven in chips(page), path
        assert sign not in chips(page), path
