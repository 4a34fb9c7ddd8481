"""Little to load on a bad line: the tag page in one flight, a first visit in 20 kB, compressed."""

import gzip
import re

from service.web.static import imported
from tests.support.program import Running
from tests.testlog.support import OPEN_2, bench

FIRST_FLIGHT = 14_600  # bytes: ten segments of 1460, RFC 6928
FIRST_VISIT = 20_000


def test_the_tag_page_and_all_that_it_asks_for(program: Running) -> None:
    at = bench(program, "xlr3")
    at.test(at.codes[0], OPEN_2)
    page = program.crew.get(f"/t/{at.codes[0]}").text
    asked = set(re.findall(r'(?:href|src)="(/static/[^"#]+)', page))
    sizes = {url: len(gzip.compress(program.crew.get(url).content)) for url in asked}
    html = len(gzip.compress(page.encode()))
    styles = sum(size for url, size in sizes.items() if ".css" in url)
    assert any("/outbox/" in url for url in asked)
    assert html + styles <= FIRST_FLIGHT
    assert html + sum(sizes.values()) <= FIRST_VISIT


def test_no_script_holds_up_the_page_or_waits_for_another(program: Running) -> None:
    at = bench(program, "xlr3")
    page = program.crew.get(f"/t/{at.codes[0]}/test").text
    scripts = re.findall(r"<script[^>]*>", page)
    assert len(scripts) >= 2
    assert all('type="module"' in each for each in scripts)
    asked = set(re.findall(r'(?:href|src)="([^"]+\.js)"', page))
    assert {*imported("outbox/page.js"), *imported("offline/testpage.js")} <= asked
