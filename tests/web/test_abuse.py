"""Nothing that anybody sends breaks the service, leads a browser elsewhere, or is shown unescaped."""

import json
import re
from collections.abc import Iterator

import pytest

from service.crew.pages import inside
from service.web.render import ENVIRONMENT
from tests.support.program import op
from tests.web import abuse
from tests.web.roles import NEEDED
from tests.web.world import World, rows, world


@pytest.fixture(scope="module")
def at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """The service over the demo, without limits."""
    with world(tmp_path_factory.mktemp("abuse"), limits=False) as here:
        yield here


def test_the_api_does_what_its_description_says(at: World) -> None:
    told = abuse.hit_api(at, 8)
    assert {line.split(" ")[2] for line in told} >= {"200", "201", "404", "422"}


def test_no_form_breaks_a_page(at: World) -> None:
    told = abuse.hit_forms(at, 2)
    assert {line.rsplit(" ", 1)[0] for line in told} == {
        row for row in NEEDED if row.startswith("POST") and "/api/" not in row
    }
    assert {line.split(" ")[2] for line in told} >= {"200", "303", "422"}


def test_a_place_that_is_named_twice_gets_one_tag(at: World) -> None:
    """Found by the long run."""
    lead = at.clients["lead"]
    lead.post("/places", data={"op": op(), "name": "Row of racks", "kind": "frame"})
    ids = re.findall(r'name="place" value="([^"]+)"', lead.get("/tags/places").text)
    assert lead.post("/tags/places", data={"op": op(), "place": [ids[-1], ids[-1]]}).status_code == 303


def test_a_method_that_is_not_taken_is_told_with_those_that_are(at: World) -> None:
    # RFC 9110, 15.5.6: a 405 lists what the address takes
    taken: dict[str, set[str]] = {}
    for row in rows(at.app):
        method, template = row.split(" ")
        taken.setdefault(template, set()).add(method)
    for template, methods in taken.items():
        answer = at.clients["lead"].request("PATCH", at.path(template))
        assert answer.status_code == 405, template
        assert set(answer.headers["allow"].split(", ")) == methods, template


def test_the_head_of_every_page_is_that_of_the_page(at: World) -> None:
    lead = at.clients["lead"]
    for row in rows(at.app):
        method, template = row.split(" ")
        if method == "GET":
            path = at.path(template)
            assert lead.head(path).status_code == lead.get(path).status_code, template


def test_every_template_escapes() -> None:
    assert ENVIRONMENT.autoescape is True
    for name in ENVIRONMENT.list_templates():
        assert ENVIRONMENT.loader is not None
        source = ENVIRONMENT.loader.get_source(ENVIRONMENT, name)[0]
        if not name.endswith(".txt"):  # a mail in plain text has nothing to escape
            assert re.findall(r"\|\s*safe\b|autoescape|Markup", source) == [], name


def test_what_somebody_types_is_shown_as_text(at: World) -> None:
    script = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>"
    lead = at.clients["lead"]
    for page in (
        lead.post("/settings", data={"name": script, "zone": script, "unit": script, "return_note": script}),
        lead.get("/find", params={"code": script}),
        lead.get("/tests", params={"item": script, "since": script, "conductor": script}),
        lead.get("/crew/trail", params={"day": script}),
        at.clients["stranger"].post("/sign-in", data={"name": script, "passphrase": "x", "next": script}),
        lead.get(f"/t/{script}"),
    ):
        assert "alert(1)" in page.text or page.status_code == 404
        assert "<script>alert" not in page.text
        assert "<img src=x" not in page.text


@pytest.mark.parametrize(
    ("path", "field"),
    [
        *(("/api/v1/items", name) for name in ("kind", "wiring", "label", "length", "price", "bought_on", "place")),
        *(("/api/v1/tests", name) for name in ("item", "tested_at", "method", "note", "\ud800")),
    ],
)
def test_half_a_character_is_refused_beside_its_field(at: World, path: str, field: str) -> None:
    """JSON can write one half of a surrogate pair, which is no text."""
    whole = {"kind": "cable", "length": "5 ft"} if path.endswith("items") else {"item": "ABC-234", "joined": []}
    sent = json.dumps({"id": op()} | whole | {field: "\ud800a"})
    answer = at.clients["lead"].post(path, content=sent, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    assert [each["field"] for each in answer.json()["errors"]] == [field.replace("\ud800", "body")]


@pytest.mark.parametrize("depth", [100, 900, 960, 990, 5000])
def test_a_body_that_nests_deep_is_refused(at: World, depth: int) -> None:
    sent = '{"a":' + "[" * depth + "]" * depth + "}"
    headers = {"Content-Type": "application/json"}
    for path in ("/api/v1/swaps", "/api/v1/tests", "/api/v1/items"):
        assert at.clients["lead"].post(path, content=sent, headers=headers).status_code in (400, 422)


def test_a_body_that_is_no_json_is_named_as_a_whole(at: World) -> None:
    answer = at.clients["lead"].post("/api/v1/items", content="{", headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    assert [each["field"] for each in answer.json()["errors"]] == ["body"]
    assert answer.json()["detail"].startswith("the body: ")


ELSEWHERE = [
    "//evil.example",
    "///evil.example",
    "////evil.example",
    "//evil.example/%2f..",
    "/\\evil.example",
    "\\\\evil.example",
    "\\/evil.example",
    "/\\/evil.example",
    "https://evil.example",
    "HTTPS://EVIL.EXAMPLE",
    "http:evil.example",
    "https:/evil.example",
    "http:///evil.example",
    "//evil.example@cables.test",
    "https://cables.test@evil.example",
    "http://cables.test.evil.example",
    "javascript:alert(1)",
    "JaVaScRiPt:alert(1)",
    "java\nscript:alert(1)",
    " javascript:alert(1)",
    "data:text/html,x",
    "vbscript:x",
    "/\t/evil.example",
    "/\n/evil.example",
    "/\r/evil.example",
    "\t//evil.example",
    " //evil.example",
    "\x00//evil.example",
    "/\x00/evil.example",
    "//xn--e1awd7f.example",
    "//еvil.example",
    "/\u2028/evil.example",
    "",
    " ",
    "evil.example",
    "evil.example/path",
    ".evil.example",
    "?next=//evil.example",
    "#//evil.example",
    "@evil.example",
    ":80",
    "mailto:a@evil.example",
    "ftp://evil.example",
    "/a\r\nSet-Cookie: x=1",
    "//[::1]",
    "/%0d%0aSet-Cookie: x=1\r\n",
    "/\x0b/evil.example",
    "/\u00a0/evil.example\n",
    "//0x7f.1",
    "/\u3002\u3002\\x",
]


@pytest.mark.parametrize("target", ELSEWHERE)
def test_next_never_leads_elsewhere(target: str) -> None:
    assert inside(target) == "/"


@pytest.mark.parametrize("target", ["/", "/gear", "/t/ACDEF9?session=x", "/find?code=http://x", "/me?new=1"])
def test_next_leads_on_inside(target: str) -> None:
    assert inside(target) == target


def test_the_ways_in_use_it(at: World) -> None:
    assert len(ELSEWHERE) >= 40
    for target in ELSEWHERE:
        for page in ("/sign-in", "/join"):
            answer = at.clients["stranger"].get(page, params={"next": target})
            if "\0" in target:  # refused as an address
                assert answer.status_code == 422
            else:
                assert 'name="next" value="/"' in answer.text
