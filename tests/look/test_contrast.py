"""Contrast, computed from the color tokens of the style sheet.

Formula: WCAG 2.2, "relative luminance" and "contrast ratio". Limits: success criteria 1.4.3 (text 4.5),
1.4.6 (text 7, from memory), 1.4.11 (parts of controls 3); ours are higher, for sun and for the dark
(common practice, no source).
"""

import re

import pytest

from service.web.static import STATIC

CSS = (STATIC / "look" / "coilbook.css").read_text()
RULES = re.sub(r'url\("data:.*?"\)|/\*.*?\*/', "", CSS, flags=re.DOTALL)


def tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))


def blocks(selector: str) -> list[dict[str, str]]:
    return [tokens(body) for body in re.findall(re.escape(selector) + r" \{(.*?)\}", RULES, re.DOTALL)]


[LIGHT] = blocks("\n:root")
[DARK_PHONE] = blocks(':root:not([data-theme="light"])')
[DARK_KEPT] = blocks(':root[data-theme="dark"]')
THEMES = {"light": LIGHT, "dark": DARK_PHONE}


def luminance(color: str) -> float:
    parts = [int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize(
    ("color", "expected"),
    [("#767676", 4.5422), ("#777777", 4.4781), ("#949494", 3.0335), ("#595959", 7.0047), ("#000000", 21)],
)
def test_formula_gives_the_known_ratios_on_white(color: str, expected: float) -> None:
    # The grays on either side of the 4.5, 3 and 7 limits, computed apart from the formula of WCAG 2.2
    assert ratio(color, "#ffffff") == pytest.approx(expected, abs=5e-5)


TEXT = 7.0
PART = 4.5
EDGE = 3.0  # a focus ring beside what it surrounds, WCAG 2.2 2.4.11 and 1.4.11
PAIRS = [
    *[(text, ground, TEXT) for text in ("ink", "soft") for ground in ("paper", "sheet", "tape")],
    *[(text, ground, TEXT) for text in ("pass", "fail", "due") for ground in ("paper", "sheet")],
    *[("on", fill, TEXT) for fill in ("act", "pass", "fail")],
    ("cover-ink", "cover", TEXT),
    *[(part, ground, PART) for part in ("line", "copper", "act") for ground in ("paper", "sheet")],
    *[("focus", ground, EDGE) for ground in ("paper", "sheet", "tape")],
    ("cover-focus", "cover", EDGE),
]


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("front", "ground", "least"), PAIRS)
def test_pair_can_be_read(theme: str, front: str, ground: str, least: float) -> None:
    assert ratio(THEMES[theme][front], THEMES[theme][ground]) >= least


def test_both_dark_blocks_are_the_same() -> None:
    assert DARK_PHONE == DARK_KEPT
    assert DARK_PHONE.keys() == LIGHT.keys()


def test_rules_take_colors_from_the_tokens_only() -> None:
    after = RULES[RULES.index("*, ::before") :]
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b|\b(?:rgb|hsl|oklch)a?\(", after) == []
    used = set(re.findall(r"var\(--([\w-]+)\)", RULES))
    defined = set(re.findall(r"--([\w-]+):", RULES))
    assert used <= defined
    assert set(LIGHT) - {"dots"} <= used
