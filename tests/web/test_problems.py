"""What a refusal says: of saving only where something was to be saved."""

import pytest

from tests.support.program import Running, op

LOOKED_UP = [
    ("/t/QQQQQQ", 422),
    ("/t/QQ", 422),
    ("/t/7K3M9U", 404),
    ("/find?code=QQQQQQ", 422),
    ("/gear/QQQQQQ", 422),
    ("/t/QQQQQQ/test", 422),
    ("/places/nowhere/walk", 422),
    ("/gear?limit=x", 200),
    ("/gear?after=x", 422),
    ("/tests?after=x", 422),
    ("/due?after=x", 422),
    ("/pull/nothing", 404),
    ("/no-such-page", 404),
    ("/tags/sheet.pdf?code=QQQQQQ", 422),
    ("/tags?code=QQQQQQ", 422),
    ("/season/none", 404),
    ("/sessions/x/next?after=QQQQQQ", 404),
    ("/swap?bad=QQQQQQ", 422),
]


@pytest.mark.parametrize(("path", "status"), LOOKED_UP)
def test_a_look_up_says_nothing_of_saving(program: Running, path: str, status: int) -> None:
    answer = program.lead.get(path)
    assert answer.status_code == status
    assert "saved" not in answer.text
    assert "what you entered is still there" not in answer.text


def test_a_write_says_that_nothing_was_saved(program: Running) -> None:
    answer = program.crew.post("/t/QQQQQQ/crackled", data={"op": op()})
    assert answer.status_code == 422
    assert "Nothing was saved. Go back one page" in answer.text
