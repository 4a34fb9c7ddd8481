"""The scan page in a real browser: with script, without, and with a camera that the test holds."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from random import Random
from uuid import uuid4

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from service.crew import actions
from service.crew.core import Role
from service.gear.actions import NewItem, add_items
from service.kit.codes import ALPHABET, code_in_url, make_code
from service.tags.actions import issue
from tests.support.serving import Served, served
from tests.tags.images import encoded, scene, symbol

pytestmark = pytest.mark.browser

CAMERA = """
window.tracks = [];
navigator.mediaDevices.getUserMedia = async () => {
  if (window.refused) throw new DOMException("no", "NotAllowedError");
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 64;
  canvas.getContext("2d").fillRect(0, 0, 64, 64);
  const stream = canvas.captureStream(30);
  window.tracks.push(...stream.getTracks());
  return stream;
};
window.seen = [];
window.BarcodeDetector = class {
  static async getSupportedFormats() { return ["qr_code"]; }
  async detect() { return window.seen.map((rawValue) => ({ rawValue })); }
};
"""

ADDRESSES = ("HTTPS://X.EXAMPLE/T/{}", "https://x.example/t/{}/", "http://x/t/{}?a=1#b", "https://x/{}", "{}")


@pytest.fixture
def at(sqlite_url: str) -> Iterator[tuple[Served, list[str], str]]:
    """The service, the codes of two cables, and a token for crew."""
    with served(sqlite_url) as service:
        now, ids = datetime.now(UTC), [uuid4(), uuid4()]
        with service.store.writing() as db:
            add_items(db, NewItem("cable", "xlr3", 3048), ids, None, now, date(2026, 9, 1))
            codes = issue(db, ids, now)
            token = actions.make_token(db, "Crew", Role.CREW, now)
        yield service, codes, token


def page_of(context: BrowserContext, at: tuple[Served, list[str], str], path: str = "/scan", script: str = "") -> Page:
    context.set_extra_http_headers({"Authorization": f"Bearer {at[2]}"})
    page = context.new_page()
    if script:
        page.add_init_script(script)
    page.goto(at[0].base + path)
    return page


def photo(tmp_path: Path, code: str) -> Path:
    """A photo of 12 million pixels, noisy as a phone's, of a tag."""
    image = scene(symbol(f"HTTPS://CABLES.EXAMPLE.ORG/T/{code}", 30), size=(4000, 3000))
    file = tmp_path / "photo.jpg"
    file.write_bytes(encoded(image, quality=98))
    return file


def test_a_photo_is_made_small_on_the_phone(
    phone: BrowserContext, at: tuple[Served, list[str], str], tmp_path: Path
) -> None:
    file = photo(tmp_path, at[1][0])
    page = page_of(phone, at)
    with page.expect_request("**/scan") as sending:
        page.set_input_files("#f-photo", file)
        page.get_by_role("button", name="Read the photo").click()
    page.wait_for_url(f"**/t/{at[1][0]}?scanned=1")
    assert int(sending.value.all_headers()["content-length"]) < min(500_000, file.stat().st_size)


def test_without_script_the_photo_is_sent_as_it_is(
    browser: Browser, at: tuple[Served, list[str], str], tmp_path: Path
) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = page_of(context, at)
    expect(page.get_by_role("button", name="Hold the camera on it")).to_be_hidden()
    page.set_input_files("#f-photo", photo(tmp_path, at[1][1]))
    page.get_by_role("button", name="Read the photo").click()
    page.wait_for_url(f"**/t/{at[1][1]}?scanned=1")
    context.close()


def test_the_camera_shows_only_where_it_can_work(phone: BrowserContext, at: tuple[Served, list[str], str]) -> None:
    without = page_of(phone, at, script="delete window.BarcodeDetector;")
    expect(without.get_by_role("button", name="Hold the camera on it")).to_be_hidden()
    expect(page_of(phone, at, script=CAMERA).get_by_role("button", name="Hold the camera on it")).to_be_visible()


def test_a_tag_before_the_camera_leads_to_its_page_with_the_session(
    phone: BrowserContext, at: tuple[Served, list[str], str]
) -> None:
    code, session = at[1][0], str(uuid4())
    page = page_of(phone, at, f"/scan?session={session}", CAMERA)
    page.get_by_role("button", name="Hold the camera on it").click()
    expect(page.locator("video")).to_be_visible()
    page.evaluate("text => { seen = [text]; }", f"HTTPS://OLD-HOST.EXAMPLE/T/{code}")
    page.wait_for_url(f"**/t/{code}/test?session={session}")


def test_strange_codes_are_shown_and_several_tags_offered(
    phone: BrowserContext, at: tuple[Served, list[str], str]
) -> None:
    page = page_of(phone, at, script=CAMERA)
    page.get_by_role("button", name="Hold the camera on it").click()
    page.evaluate("seen = ['https://elsewhere.example/']")
    expect(page.get_by_text("Not a tag of ours: https://elsewhere.example/")).to_be_visible()
    assert page.url.endswith("/scan")
    page.evaluate("texts => { seen = texts; }", [f"https://x.example/t/{code}" for code in at[1]])
    expect(page.get_by_text("Which one?")).to_be_visible()
    page.get_by_role("link", name=f"{at[1][1][:3]} {at[1][1][3:]}").click()
    page.wait_for_url(f"**/t/{at[1][1]}?scanned=1")


def test_the_camera_stops_when_the_page_is_hidden(phone: BrowserContext, at: tuple[Served, list[str], str]) -> None:
    page = page_of(phone, at, script=CAMERA)
    page.get_by_role("button", name="Hold the camera on it").click()
    expect(page.locator("video")).to_be_visible()
    page.evaluate(
        "Object.defineProperty(document, 'hidden', {value: true});document.dispatchEvent(new Event('visibilitychange'))"
    )
    assert page.evaluate("tracks.map(track => track.readyState)") == ["ended"]
    expect(page.get_by_role("button", name="Hold the camera on it")).to_be_visible()


def test_a_camera_that_is_not_lent_is_told(phone: BrowserContext, at: tuple[Served, list[str], str]) -> None:
    page = page_of(phone, at, script=CAMERA + "window.refused = true;")
    page.get_by_role("button", name="Hold the camera on it").click()
    expect(page.get_by_text("The camera was not lent.")).to_be_visible()


def test_the_phone_knows_a_tag_by_the_same_rule_as_the_service(
    phone: BrowserContext, at: tuple[Served, list[str], str]
) -> None:
    source = Random(4)
    texts = []
    for _ in range(300):
        code = list(make_code(source))
        for _ in range(source.choice((0, 0, 1, 2))):
            code[source.randrange(6)] = source.choice(ALPHABET + "0OL")
        text = "".join(code)
        texts.append(source.choice(ADDRESSES).format(source.choice((text, text.lower(), text[:5]))))
    page = page_of(phone, at)
    told = page.evaluate(
        "async texts => { const live = await import('/static/tags/live.js'); return texts.map(live.codeIn); }",
        texts,
    )
    assert told == [code_in_url(text) for text in texts]
    assert 50 < sum(code is not None for code in told) < 250
