"""Plug cards: every joint that is made at set-up is on one card once, where its socket is."""

from dataclasses import replace

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.crew.core import ProgramFacts
from service.gear.core import End
from service.kit.quantities import Unit
from service.lines.cards.core import MIXER, CardItem, CardLine, PlugEnd, PlugToMake, plug_cards
from service.lines.cards.drawing import cards_pdf, channels_in_words, end_in_words, heading
from tests.lines.test_inputs import Inputs
from tests.support.examples import examples
from tests.support.program import Running

PROGRAM = ProgramFacts("Fernhollow Band Program", "UTC", "feet", "", None, end_a="taped end")
MARIMBA, TRUCK = "Marimba 1", "Truck 2"


def cable(number: int, place: str, place_b: str = "", stays: bool = False) -> CardItem:
    ends = {End.A: place, End.B: place_b or place}
    return CardItem(f"cable {number}", f"CAB00{number}", False, ends, {End.A: 1, End.B: 1}, End.A, None, stays)


def hub(lane: int, stays: bool = False) -> CardItem:
    return CardItem("Hub 1", "HUB111", True, dict.fromkeys(End, MARIMBA), {End.A: 1, End.B: 8}, End.B, str(lane), stays)


def trunk(lane: int, stays: bool = False) -> CardItem:
    return CardItem(
        "multicore", "TRK111", False, dict.fromkeys(End, TRUCK), dict.fromkeys(End, 1), End.A, str(lane), stays
    )


def line(number: int, stays: tuple[bool, bool, bool, bool] = (True, False, False, False)) -> CardLine:
    mic, into_hub, into_trunk, mixer = stays
    items = [cable(number, f"Vibraphone {number}", stays=mic), hub(number, into_hub), trunk(number, into_trunk)]
    return CardLine(number, f"Source {number}", f"Vibraphone {number}", items, mixer)


def test_a_multicore_is_one_plug_at_its_hub_and_one_at_the_mixer() -> None:
    hub_card, mixer_card = plug_cards([line(2), line(1)], [MARIMBA, TRUCK])
    assert hub_card.place == MARIMBA
    assert hub_card.plugs == [
        PlugToMake(PlugEnd("cable 1", "CAB001", End.B), PlugEnd("Hub 1", "HUB111", End.B, "1"), (1,)),
        PlugToMake(PlugEnd("multicore", "TRK111", End.A), PlugEnd("Hub 1", "HUB111", End.A), (1, 2)),
        PlugToMake(PlugEnd("cable 2", "CAB002", End.B), PlugEnd("Hub 1", "HUB111", End.B, "2"), (2,)),
    ]
    assert heading(hub_card) == "At set-up: 3 into Hub 1"
    assert mixer_card.place == MIXER
    assert mixer_card.plugs == [PlugToMake(PlugEnd("multicore", "TRK111", End.B), PlugEnd(MIXER, "", None), (1, 2))]


def test_a_chained_cable_is_plugged_where_its_near_end_lives() -> None:
    items = [cable(1, "Marimba 3"), cable(2, "Marimba 3", "Marimba 2"), cable(3, "Marimba 1")]
    cards = plug_cards([CardLine(5, "Low", "Marimba 3", items, mixer_stays=True)], ["Marimba 1", "Marimba 3"])
    assert [(card.place, [plug.hold.title for plug in card.plugs]) for card in cards] == [
        ("Marimba 1", ["cable 2"]),
        ("Marimba 3", ["cable 1", "cable 1"]),  # onto its microphone, and into the chain
    ]


@examples(60)
@given(st.lists(st.tuples(*[st.booleans()] * 4), min_size=1, max_size=8))
def test_each_joint_that_does_not_stay_is_on_one_card_once(made: list[tuple[bool, bool, bool, bool]]) -> None:
    lines = [line(number, stays) for number, stays in enumerate(made, 1)]
    plugs = [plug for card in plug_cards(lines, [MARIMBA]) for plug in card.plugs]
    carried = [channel for plug in plugs for channel in plug.channels]
    for number, stays in enumerate(made, 1):
        assert carried.count(number) == sum(not each for each in stays)
    assert len({(plug.hold, plug.into) for plug in plugs}) == len(plugs)


@pytest.mark.parametrize(
    ("channels", "words"), [((3,), "channel 3"), ((1, 2, 3), "channels 1 to 3"), ((1, 4), "channels 1, 4")]
)
def test_channels_are_told_in_words(channels: tuple[int, ...], words: str) -> None:
    assert channels_in_words(channels) == words


@pytest.mark.parametrize(("unit", "size"), [(Unit.FEET, (612, 792)), (Unit.METERS, (595, 842))])
def test_the_pdf_has_a_page_for_each_place_with_every_plug(unit: Unit, size: tuple[int, int]) -> None:
    """Letter is 612 by 792 points, A4 (ISO 216: 210 mm by 297 mm) 595 by 842."""
    cards = plug_cards([line(number) for number in range(1, 9)], [MARIMBA])
    pages = pypdfium2.PdfDocument(cards_pdf(cards, "Fall season", [9], unit, PROGRAM.end))
    assert tuple(round(side) for side in pages[0].get_size()) == size
    text = " ".join(" ".join(page.get_textpage().get_text_range().split()) for page in pages)
    assert "Fall season. Not on the cards: channel 9." in text
    for card in cards:
        assert heading(card) in text
        for plug in card.plugs:
            assert "end A" not in end_in_words(plug.hold, PROGRAM.end)
            assert f"Plug {end_in_words(plug.hold, PROGRAM.end)} into {end_in_words(plug.into, PROGRAM.end)}" in text


def test_the_cards_of_a_list_are_shown_to_the_crew(program: Running) -> None:
    at = Inputs(program)
    url = f"/inputs/{at.list}/cards"
    assert "Nothing to plug yet" in program.crew.get(url).text
    assert program.crew.get(f"{url}.pdf").status_code == 404
    at.add(1, at.one, at.hub, at.trunk, lane="3", stays=[0])
    page = program.crew.get(url).text
    assert "At set-up: 2 into " in page
    assert f"lane 3 of Hub (stage box) {at.hub[:3]} {at.hub[3:]}" in page
    assert program.crew.get(f"{url}.pdf").content.startswith(b"%PDF-")
    assert "end B of 10 ft cable" in page
    settings = {"name": "Fernhollow", "zone": "America/New_York", "unit": "feet", "return_note": ""}
    same = program.lead.post("/settings", data=settings | {"end_a": "red end", "end_b": "Red end"})
    assert "Both ends have the same name" in same.text
    assert program.lead.post("/settings", data=settings | {"end_b": "red end"}).status_code == 303
    page = program.crew.get(url).text
    assert "red end of 10 ft cable" in page
    assert "end B" not in page
    at.add(2)
    assert "Channel 2, Source 2</a>: It has no line yet." in program.crew.get(url).text


def test_two_hubs_of_one_title_are_told_apart() -> None:
    other = replace(hub(1), code="HUB222")
    items = [cable(2, "Rack 1"), other, trunk(1)]
    card = plug_cards([line(1), CardLine(2, "Gong", "Rack 1", items, mixer_stays=True)], [MARIMBA])[0]
    assert heading(card) == "At set-up: 2 into Hub 1 HUB 111, 2 into Hub 1 HUB 222"
