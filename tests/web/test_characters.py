"""What cannot be read is refused in words: the NUL character, which no keyboard types and PostgreSQL keeps in no text,
half a character, and a form whose bytes do not follow the character set that it names.
"""

import pytest

from tests.support.program import Running, op
from tests.testlog.support import bench

ADDRESSES = (
    "/gear?q=%00",
    "/gear?place=a%00",
    "/tests?conductor=a%00",
    "/crew/trail?action=a%00",
    "/wirings/a%00",
    "/api/v1/wirings/a%00",
    "/api/v1/items?place=a%00",
)
FORMS = {
    "/settings": {"name": "a\0b", "zone": "UTC", "unit": "feet", "return_note": ""},
    "/crew/passes": {"role": "crew", "label": "a\0b"},
    "/calendar/links": {"label": "a\0b"},
    "/gear/{code}/notes": {"text": "a\0b"},
    "/t/{code}/not-this": {"what": "a\0b", "other": ""},
    "/testers/new": {"name": "Box", "wiring": "a\0b", "sees": "straight", "reaches": "", "patterns": ""},
}


def test_in_an_address(program: Running) -> None:
    answers = {address: program.lead.get(address) for address in ADDRESSES}
    assert {address: answer.status_code for address, answer in answers.items()} == dict.fromkeys(ADDRESSES, 422)
    assert all("cannot be shown" in answer.text for answer in answers.values())


@pytest.mark.parametrize("address", FORMS)
def test_in_a_form(program: Running, address: str) -> None:
    [code] = bench(program, "xlr3").codes
    answer = program.lead.post(address.format(code=code), data={"op": op()} | FORMS[address])
    [field] = [name for name, value in FORMS[address].items() if "\0" in value]
    assert answer.status_code == 422
    assert f"{field}: this text has characters that cannot be shown" in answer.text


def test_in_a_form_with_a_file(program: Running) -> None:
    answer = program.lead.post("/exchange/sheet", data={"text": "Name,Length\na\0b,3 m"}, files={"file": b""})
    assert answer.status_code == 422
    assert "text: this text has characters that cannot be shown" in answer.text


@pytest.mark.parametrize("path", ["/sign-in", "/exchange/sheet"])
@pytest.mark.parametrize("charset", ["unicode_escape", "punycode"])
def test_in_a_form_of_an_unusual_character_set(program: Running, path: str, charset: str) -> None:
    parts = "".join(
        f'--x\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n\\ud800\r\n' for name in ("passphrase", "text")
    )
    headers = {"Content-Type": f"multipart/form-data; boundary=x; charset={charset}"}
    answer = program.lead.post(path, content=f"{parts}--x--\r\n", headers=headers)
    assert answer.status_code == 422
