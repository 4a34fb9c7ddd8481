"""Drawing the marks of `service.tags.core` as SVG in a page, for the preview of a page of labels."""

from collections.abc import Iterator

from markupsafe import Markup, escape

from service.tags.core.boxes import Box
from service.tags.core.lettering import Font
from service.tags.core.marks import Mark, Symbol, ThinLine, Words
from service.tags.core.pages import Page
from service.tags.core.sheets import PaperSheet, mm
from service.tags.core.symbols import QUIET_MODULES, grid, matrix, runs

_FAMILY = {Font.PLAIN: "Helvetica, Arial, sans-serif", Font.CODE: "Courier New, Courier, monospace"}


def page_svg(page: Page, sheet: PaperSheet, title: str) -> Markup:
    """The page with the outlines of its labels, in black on white in every theme."""
    urls = {placed.label.url: f"q{number}" for number, placed in enumerate(page)}
    size = f"{mm(sheet.width):g} {mm(sheet.height):g}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}" role="img" aria-label="{escape(title)}" '
        f'font-weight="700"><rect width="100%" height="100%" fill="#fff"/><defs>',
        *(_symbol(url, name) for url, name in urls.items()),
        "</defs>",
        *(_outline(sheet.box(number), mm(sheet.radius)) for number in range(sheet.labels)),
    ]
    for placed in page:
        box = sheet.box(placed.number)
        parts.append(f'<g transform="translate({box.x:g} {box.y:g})">')
        for mark in placed.marks:
            parts += _drawn(mark, urls[placed.label.url])
        parts.append("</g>")
    return Markup("".join([*parts, "</svg>"]))  # noqa: S704  (numbers, and text that was escaped)


def _symbol(url: str, name: str) -> str:
    symbol = grid(url)
    side = symbol.across
    path = "".join(
        f"M{at + QUIET_MODULES} {row + QUIET_MODULES}h{length}v1h-{length}z"
        for row, cells in enumerate(matrix(url, symbol))
        for at, length in runs(cells)
    )
    return f'<symbol id="{name}" viewBox="0 0 {side} {side}"><path d="{path}"/></symbol>'


def _outline(box: Box, radius: float) -> str:
    return f'<rect {_at(box)} rx="{radius:g}" fill="none" stroke="#999" stroke-width=".2"/>'


def _drawn(mark: Mark, symbol: str) -> Iterator[str]:
    if isinstance(mark, Symbol):
        yield f'<use href="#{symbol}" {_at(mark.box)}/>'
    elif isinstance(mark, Words):
        yield _words(mark)
    elif isinstance(mark, ThinLine):
        dashes = ' stroke-dasharray="1"' if mark.dashed else ""
        yield (
            f'<path d="M{mark.box.x:g} {mark.box.y:g}L{mark.box.right:g} {mark.box.bottom:g}" stroke="#000" '
            f'stroke-width=".1"{dashes}/>'
        )
    else:
        yield _end(mark.box, mark.end)
        yield _words(mark.letter)


def _end(box: Box, end: str) -> str:
    if end == "B":
        return f"<rect {_at(box)}/>"
    return (
        f'<circle cx="{box.x + box.width / 2:g}" cy="{box.y + box.height / 2:g}" r="{box.width / 2:g}" fill="none" '
        'stroke="#000" stroke-width=".35"/>'
    )


def _words(words: Words) -> str:
    x, y = words.box.x + words.box.width / 2, words.box.y + words.box.height / 2
    shade = round(255 * words.ink)
    return (
        f'<text x="{x:g}" y="{y:g}" dy="{words.base:.3g}" font-family="{_FAMILY[words.font]}" '
        f'font-size="{words.size:.3g}" text-anchor="middle" fill="rgb({shade},{shade},{shade})" '
        f'textLength="{words.length:.4g}" lengthAdjust="spacingAndGlyphs" '
        f'transform="rotate({-90 * words.quarter} {x:g} {y:g})">{escape(words.text)}</text>'
    )


def _at(box: Box) -> str:
    return f'x="{box.x:g}" y="{box.y:g}" width="{box.width:g}" height="{box.height:g}"'
