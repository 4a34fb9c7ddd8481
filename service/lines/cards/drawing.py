"""Drawing plug cards into a PDF: a page for each place, to tape to its frame; black on white, in large letters."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from service.kit.quantities import Unit
from service.lines.cards.core import MIXER, PlugCard, PlugEnd, PlugToMake

if TYPE_CHECKING:
    from fpdf import FPDF
    from fpdf.recorder import FPDFRecorder

_EDGE, _FONT = 15, "Helvetica"
_OTHERS = str.maketrans({"“": '"', "”": '"', "’": "'", "–": "-", "…": "..."})


def cards_pdf(
    cards: Sequence[PlugCard], title: str, missing: Sequence[int], unit: Unit, end_name: Callable[[str], str]
) -> bytes:
    """The cards as a PDF, on A4 where the program counts in meters and on Letter elsewhere. `title` is at their foot,
    with the channels that are `missing` on all cards; `end_name` is what the program calls an end.
    """
    from fpdf import FPDF  # imported here, because it imports an image library, and few processes draw cards

    pdf = FPDF(unit="mm", format="A4" if unit is Unit.METERS else "Letter")
    pdf.set_title("Coilbook plug cards")
    pdf.set_margin(_EDGE)
    pdf.set_auto_page_break(True, _EDGE)
    for card in cards:
        pdf.add_page()
        _text(pdf, 34, card.place)
        _text(pdf, 18, heading(card))
        pdf.ln(4)
        for number, plug in enumerate(card.plugs, 1):
            _plug(pdf, number, plug, end_name)
        _text(pdf, 10, f"{title}. Not on the cards: {channels_in_words(missing)}." if missing else title)
    return bytes(pdf.output())


def heading(card: PlugCard) -> str:
    """How many plugs are made at a place at set-up, and into what."""
    into = ", ".join(f"{count} into {socket}" for socket, count in card.sockets)
    return f"At set-up: {into}"


def channels_in_words(channels: Sequence[int]) -> str:
    """The channels that a plug carries: "channel 3", "channels 1 to 8", "channels 1, 4, 9"."""
    if len(channels) == 1:
        return f"channel {channels[0]}"
    if list(channels) == list(range(channels[0], channels[-1] + 1)):
        return f"channels {channels[0]} to {channels[-1]}"
    return f"channels {', '.join(map(str, channels))}"


def end_in_words(end: PlugEnd, end_name: Callable[[str], str]) -> str:
    """An end as cards and pages name it: "red end of 10 ft cable 7K3 M9U", "lane 3 of Hub 1 9QQ 9UT"."""
    code = f" {end.code[:3]} {end.code[3:]}" if end.code else ""
    if end.lane is not None:
        return f"{'input' if end.title == MIXER else 'lane'} {end.lane} of {end.title}{code}"
    if end.end is None:
        return end.title
    return f"{end_name(end.end)} of {end.title}{code}"


def _plug(pdf: "FPDF", number: int, plug: PlugToMake, end_name: Callable[[str], str]) -> None:
    """A plug as one block that no page break divides."""
    with pdf.offset_rendering() as trial:
        _plug_text(trial, number, plug, end_name)
    if trial.page_break_triggered:
        pdf.add_page()
    _plug_text(pdf, number, plug, end_name)


def _plug_text(pdf: "FPDF | FPDFRecorder", number: int, plug: PlugToMake, end_name: Callable[[str], str]) -> None:
    _text(pdf, 20, f"{number}. Plug {end_in_words(plug.hold, end_name)}")
    _text(pdf, 20, f"into {end_in_words(plug.into, end_name)}")
    _text(pdf, 13, channels_in_words(plug.channels))
    pdf.ln(3)
    pdf.line(_EDGE, pdf.get_y(), pdf.w - _EDGE, pdf.get_y())
    pdf.ln(3)


def _text(pdf: "FPDF | FPDFRecorder", size: float, text: str) -> None:
    pdf.set_font(_FONT, "B" if size > 12 else "", size)
    shown = text.translate(_OTHERS).encode("latin-1", "replace").decode("latin-1")  # what the built-in fonts have
    pdf.multi_cell(0, size * 0.45, shown, new_x="LMARGIN", new_y="NEXT")
