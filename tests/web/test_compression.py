"""What goes out compressed, and what must not; static files are kept for good under their version."""

import gzip
import io
import re
from collections.abc import Iterator, Mapping
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page

from service.crew.core import Role
from service.web.static import STATIC, asset, imported
from tests.outbox.support import truck
from tests.support.chromium import phone_in
from tests.support.program import Running, op, running

FOR_GOOD = "public, max-age=31536000, immutable"
SECRETS = {
    "a pass": ("/crew/passes", {"role": "crew", "label": "Tonight"}),
    "a lead's pass": ("/crew/passes", {"role": "lead", "label": "Next lead"}),
    "a calendar's link": ("/calendar/links", {"label": "A parent"}),
    "a hand-over": ("/handover/links", {}),
}
"""What shows a secret, once: the address of the form, and what is sent."""


@pytest.fixture
def at(sqlite_url: str) -> Iterator[Running]:
    with running(sqlite_url) as program:
        yield program


def test_pages_are_compressed_for_who_takes_it(at: Running) -> None:
    small, whole = (at.crew.get("/due", headers={"Accept-Encoding": how}) for how in ("gzip", "identity"))
    assert (small.headers["content-encoding"], small.headers["vary"]) == ("gzip", "Accept-Encoding")
    assert int(small.headers["content-length"]) < len(whole.content) / 2
    assert ("content-encoding" in whole.headers, whole.headers["vary"]) == (False, "Accept-Encoding")
    assert at.crew.head("/due").headers["content-length"] == small.headers["content-length"]


@pytest.mark.parametrize(("address", "sent"), SECRETS.values(), ids=SECRETS)
def test_no_answer_that_shows_a_secret_is_compressed(at: Running, address: str, sent: Mapping[str, str]) -> None:
    made = at.lead.post(address, data={**sent, "op": op()})
    assert made.status_code == 200
    assert len(made.content) > 1_000
    assert "content-encoding" not in made.headers
    shown = set(re.findall(r"(?:/join#|/take-over#|/calendar/)([\w-]{10,})", made.text))
    assert shown
    for page in ("/crew", "/calendar", "/handover", "/"):  # which are compressed, so they must not show it again
        assert not any(secret in at.lead.get(page).text for secret in shown), page


def test_every_static_file_is_kept_for_good_and_compressed(at: Running) -> None:
    files = [str(path.relative_to(STATIC)) for path in STATIC.rglob("*") if path.is_file()]
    for address in {*map(asset, files), *imported("offline/shell.js"), *imported("offline/testpage.js")}:
        with at.stranger.stream("GET", address, headers={"Accept-Encoding": "gzip"}) as sent:
            raw = b"".join(sent.iter_raw())
        plain = at.stranger.get(address, headers={"Accept-Encoding": "identity"})
        assert (sent.status_code, sent.headers["cache-control"]) == (200, FOR_GOOD), address
        assert gzip.GzipFile(fileobj=io.BytesIO(raw)).read() == plain.content
        assert len(raw) < len(plain.content) or len(plain.content) < 250, address
        assert "content-encoding" not in plain.headers


def test_static_files_are_sent_without_comments(at: Running) -> None:
    for path in ("outbox/left.js", "look/coilbook.css", "look/shapes.svg"):
        sent, whole = at.stranger.get(asset(path)).text, (STATIC / path).read_text()
        assert re.search(r"/\*|<!--", whole)
        assert not re.search(r"/\*|<!--|^\s", sent, re.MULTILINE), path


def test_no_script_has_a_template_within_a_template() -> None:
    """They would be changed where comments are taken out (rjsmin)."""
    for path in STATIC.rglob("*.js"):
        assert not re.search(r"\$\{[^}]*`", path.read_text()), path.name


def test_what_is_not_kept_is_asked_for_again_by_its_tag(at: Running) -> None:
    plain = at.stranger.get("/static/icon.svg")
    known = at.stranger.get("/static/icon.svg", headers={"If-None-Match": plain.headers["etag"]})
    assert (known.status_code, known.content) == (304, b"")


@pytest.mark.parametrize("wrong", ["/static/icon.svg", "/static/icon.svg?v=0123456789"])
def test_what_is_asked_under_another_version_is_not_kept(at: Running, wrong: str) -> None:
    assert at.stranger.get(wrong).headers["cache-control"] == "no-cache"
    assert at.stranger.get("/static/m-0123456789/outbox/page.js").headers["cache-control"] == "no-store"


@pytest.mark.parametrize("wrong", ["/static/none.css", "/static/m-1/none.js", "/static/../pyproject.toml", "/static/"])
def test_there_is_nothing_else_to_be_had(at: Running, wrong: str) -> None:
    assert at.stranger.get(wrong).status_code == 404


def _sent(page: Page, address: str) -> tuple[int, int]:
    """How many requests opening an address took, and their bytes on the wire, headers included."""
    wire, asked, took = page.context.new_cdp_session(page), set[str](), list[int]()

    def begins(event: dict[str, object]) -> None:
        if str(event["request"]["url"]).startswith("http"):  # type: ignore[index]
            asked.add(str(event["requestId"]))

    wire.on("Network.requestWillBeSent", begins)
    wire.on("Network.loadingFinished", lambda event: took.append(event["encodedDataLength"]))
    wire.send("Network.enable")
    page.goto(address)
    page.wait_for_load_state("networkidle")
    wire.detach()
    return len(asked), sum(took)


@pytest.mark.browser
def test_what_a_tag_page_takes_on_the_wire(sqlite_url: str, browser: Browser) -> None:
    with truck(sqlite_url, "xlr3") as at, phone_in(browser) as joined, phone_in(browser) as context:
        at.joined(joined, role=Role.CREW)
        context.add_cookies([{"name": one["name"], "value": one["value"], "url": at.base} for one in joined.cookies()])
        page, tag = context.new_page(), f"{at.base}/t/{at.codes[0]}"
        requests, first = _sent(page, tag)
        assert requests <= 8
        assert first < 20_000
        assert _sent(page, tag)[1] < 3_000
        assert urlsplit(page.url).path.startswith("/t/")
