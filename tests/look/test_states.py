"""Every state is a word, a shape and a color, and can be told from the others without the color."""

import re
from enum import StrEnum
from io import BytesIO
from itertools import combinations
from typing import Any
from xml.etree import ElementTree

import pytest
from PIL import Image

from service.gear.core import USABLE, FlagKind, ItemState
from service.season.core import DueState
from service.testlog.core import Verdict
from service.web.render import TEMPLATES
from service.web.static import STATIC
from tests.look.conftest import BOOK, Open

WORDS: Any = BOOK.get_template("parts/state.html").module
SPRITE = ElementTree.parse(STATIC / "look" / "shapes.svg").getroot()
SHAPES = {symbol.attrib["id"]: b"".join(map(ElementTree.tostring, symbol)) for symbol in SPRITE}
ALONE = "position: fixed; inset: 0 auto auto 0; z-index: 9; width: 24px; height: 24px; color: #000; background: #fff"
"""Wherever its word has put it, between pixels or not, a shape is looked at in the same place, black on white."""
KINDS = {"STATES": ItemState, "DUE": DueState, "FLAGS": FlagKind, "VERDICTS": Verdict}


@pytest.mark.parametrize("table", KINDS)
def test_every_state_has_a_word_and_a_shape(table: str) -> None:
    words = getattr(WORDS, table)
    kind: type[StrEnum] = KINDS[table]
    assert {str(one) for one in kind} <= set(words)
    assert set(words) <= set(SHAPES)
    assert len({word for word, _ in words.values()}) == len(words)


def test_what_no_test_has_proven_yet_has_a_sign_of_its_own_and_is_not_green() -> None:
    stands = WORDS.STANDS
    assert set(stands) - set(WORDS.STATES) == {f"{state}_untested" for state in USABLE}
    assert set(stands) <= set(SHAPES)
    assert len({word for word, _ in stands.values()}) == len(stands)
    assert all("is-pass" not in stands[f"{state}_untested"][1] for state in USABLE)


def test_what_the_phone_puts_right_looks_as_everywhere() -> None:
    script = (STATIC / "outbox/standing.js").read_text().replace("[UNTESTED]:", "in_service_untested:")
    found = re.findall(r'(\w+): \["([^"]+)", "([^"]+)"\]', script)
    assert {name for name, _, _ in found} == {"quarantined", "blocked", "suspect", "untested", "in_service_untested"}
    for name, word, tone in found:
        assert (word, tone) == (WORDS.STANDS | WORDS.FLAGS)[name]


def test_every_shape_that_a_template_names_is_drawn() -> None:
    source = "".join(path.read_text() for path in TEMPLATES.rglob("*.html"))
    named = set(re.findall(r"""\bshape(?:_name=|\()["'](\w+)["']""", source))
    assert "coil" in named
    assert named <= set(SHAPES)


def test_no_shape_is_drawn_twice() -> None:
    assert len(set(SHAPES.values())) == len(SHAPES)


@pytest.mark.browser
@pytest.mark.parametrize("kind", ["states", "due", "flags", "verdicts"])
def test_shapes_differ_in_gray(opened: Open, kind: str) -> None:
    page = opened(device_scale_factor=2)
    inks = []
    for shape in page.locator(f"[data-kind={kind}] .shape").all():
        shape.evaluate(f"one => one.style = {ALONE!r}")
        inks.append(_ink(shape.screenshot()))
        shape.evaluate("one => one.style = ''")
    assert len(inks) >= 4
    for one, other in combinations(inks, 2):
        # The share of the inked spots that both have: 1 for the same drawing.
        assert len(one & other) / len(one | other) < 0.7


def _ink(screenshot: bytes) -> set[int]:
    """The places of a 24 x 24 picture whose gray is not the ground's."""
    gray = list(Image.open(BytesIO(screenshot)).convert("L").resize((24, 24)).tobytes())
    ground = max(set(gray), key=gray.count) if max(gray) - min(gray) < 8 else _ground(gray)
    return {at for at, level in enumerate(gray) if abs(level - ground) > 60}


def _ground(gray: list[int]) -> int:
    corners = (gray[0], gray[23], gray[-24], gray[-1])
    return sorted(corners)[1]
