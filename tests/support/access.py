"""What keeps people from using a page: the rules of WCAG up to 2.2, levels A and AA, as axe-core checks them."""

from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

STANDARDS: dict[str, Any] = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}


def barriers(page: Page) -> list[str]:
    """The rules that a page breaks, each with the first place where it does.

    Raises:
        AssertionError: no rule was checked at all, so that an empty answer would say nothing.
    """
    found = Axe().run(page, options={"runOnly": STANDARDS}).response
    assert found["passes"]
    return [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in found["violations"]]
