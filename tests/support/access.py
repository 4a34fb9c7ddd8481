"""Checking pages for accessibility: the rules of WCAG up to 2.2, levels A and AA, as axe-core checks them."""

from typing import Any, Literal

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

STANDARDS: dict[str, Any] = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}

OF_COLORS: dict[str, Any] = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
"""The rules that depend on the theme."""
THEMES: tuple[tuple[Literal["light", "dark"], dict[str, Any]], ...] = (("light", STANDARDS), ("dark", OF_COLORS))


def barriers_at(page: Page, widths: tuple[int, ...]) -> list[str]:
    """The rules that a page breaks at each of these widths: of all rules in the light theme, of those for colors in the
    dark one."""
    found = []
    for width in widths:
        page.set_viewport_size({"width": width, "height": 844})
        for scheme, rules in THEMES:
            page.emulate_media(color_scheme=scheme)
            found += [f"{width} px, {scheme}: {one}" for one in barriers(page, rules)]
    return found


def barriers(page: Page, rules: dict[str, Any] = STANDARDS) -> list[str]:
    """The rules that a page breaks, each with the first place where it does.

    Raises:
        AssertionError: no rule was checked at all, so an empty result would prove nothing.
    """
    found = Axe().run(page, options={"runOnly": rules}).response
    assert found["passes"]
    return [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in found["violations"]]
