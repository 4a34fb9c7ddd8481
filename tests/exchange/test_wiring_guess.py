"""What gear is, how it is wired and how many lanes it has, by the words of a sheet: never eight in silence."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from service.exchange.sheets.core.connectors import lanes_in
from service.gear.models import Item
from tests.exchange.test_sheets import brought_in, fates, tried
from tests.gear.test_own_wirings import make
from tests.support.program import Running, running


@pytest.mark.parametrize(
    ("words", "lanes"),
    [
        ("stagebox 16ch", 16),
        ("12 channel snake", 12),
        ("12-channel snake", 12),
        ("Snake, 24 chan.", 24),
        ("16x4 snake", 20),
        ("16×0 drop snake", 16),
        ("4-pair loom", 4),
        ("twelve channel snake", 12),
        ("8 lines", 8),
        ("SNAKE 16 CH", 16),
        ("Hub 3 ch 9-16", None),
        ("Snake 2", None),
        ("25-way D", None),
        ("100 ft snake", None),
        ("2x50 ft", None),
        ("Truck 2, 16 channels", 16),
        ("", None),
        ("0 channels", None),
        ("stage box 32", 32),
        ("snake 16/4", 20),
        ("snake 16 ft", None),
        ("1/4 snake", None),
        ("Hub 16", None),
    ],
)
def test_lanes_that_words_tell(words: str, lanes: int | None) -> None:
    assert lanes_in(words) == lanes


@given(
    st.integers(1, 96),
    st.sampled_from(["{} ch", "{}ch stagebox", "snake {}-channel", "{} lines", "hub, {} Channels"]),
)
def test_any_number_of_channels_is_read(number: int, form: str) -> None:
    assert lanes_in(form.format(number)) == number


@given(st.text(max_size=60))
def test_any_words_tell_a_number_of_lanes_or_none(words: str) -> None:
    assert (lanes_in(words) or 1) >= 1


SIXTEEN = "\n".join(f"{lane} A{lane}.1 B{lane}.1 single lane {lane}" for lane in range(1, 17))


def wirings(program: Running) -> dict[str, str]:
    """The wiring of each item, by its label."""
    with program.store.reading() as db:
        return dict(db.execute(select(Item.label, Item.wiring)).all())


@pytest.mark.parametrize(
    "sheet",
    [
        "Name,Length\nstagebox 16ch,\n",
        "Name,Kind,Length\nBig box,16 channel stage box,\n",
        "Name,Kind,Channels\nBig box,hub,16\n",
        "Name,Kind,Channels\nBig box,hub,16.0\n",
        "Name,Kind,Channels\nBig box,hub,sixteen\n",
        "Name,Kind,Channels\nBig box,hub,x16\n",
        "Name,Kind,Description,Len\nBig box,hub,16ch of XLR,\n",
    ],
)
def test_a_hub_of_another_number_of_channels_never_gets_eight(sqlite_url: str, sheet: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, sheet)
        assert fates(page) == [(2, "Not taken")]
        assert "says 16 channels, and no wiring for a hub has so many: there are such of 4 and 8." in page.text
        assert '<a href="/wirings/new">Enter a wiring of your own</a>' in page.text
        location = make(program, name="Big box wiring", conductors=SIXTEEN, others="", bonds="")
        page = tried(program, sheet)
        assert fates(page) == [(2, "New")]
        assert "says 16 channels, so its wiring is the one of that many here." in page.text
        brought_in(program, sheet)
        assert [*wirings(program).values()] == [location.rpartition("/")[2]]
        assert fates(tried(program, sheet)) == [(2, "Same")]


def test_a_cell_for_lanes_that_tells_none_is_refused_where_gear_has_some(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, "Name,Kind,Length,Channels\nBig box,hub,,many\nMic 1,cable,10 ft,many\n")
        assert fates(page) == [(2, "Wrong"), (3, "New")]
        assert "“many” is no number of channels" in page.text


def test_of_several_wirings_with_so_many_lanes_one_is_asked_for(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, "Name,Kind,Length\nShort one,4 channel snake,50 ft\n")
        assert fates(page) == [(2, "Not taken")]
        found = re.search(r"says 4 channels, and several wirings have so many: (.*?)\. Write", page.text)
        assert found
        assert found[1].split(", ") == ["8p8c-screened", "8p8c", "8p8c-to-xlr4", "xlr3x4"]
        page = tried(program, "Name,Kind,Connector,Length\nShort one,4 channel snake,XLR,50 ft\n")
        assert fates(page) == [(2, "New")]
        assert "Wiring xlr3x4" in page.text
        page = tried(program, "Name,Kind,Connector,Length\nShort one,4 channel snake,8p8c,50 ft\n")
        assert "Wiring 8p8c," in page.text


def test_gear_that_is_here_is_told_to_have_other_lanes(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Name,Kind\nBig box,hub\n")
        page = tried(program, "Name,Kind\nBig box,16ch hub\n")
        assert fates(page) == [(2, "Same")]
        assert "“16ch hub” says 16 channels, and here it has 8 lanes." in page.text
        assert "channels" not in tried(program, "Name,Kind\nBig box,8ch hub\n").text


def test_a_wiring_that_is_named_is_taken_at_its_word(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, "Name,Kind,Wiring\nBig box 16ch,hub,xlr3x8\n")
        assert fates(page) == [(2, "New")]
        assert "says 16 channels; the wiring that is named has 8 lanes." in page.text
        assert fates(tried(program, "Name,Length\nlow end 16 ch,3 m\n")) == [(2, "New")]


def test_hubs_need_no_column_of_lengths(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, "Name,Kind\nBox,stage box\nlow end,cable\n")
        assert fates(page) == [(2, "New"), (3, "Wrong")]
        assert "a cable needs its length: 10 ft or 3 m." in page.text


DESCRIBED = """Label,Description,Where
H1,8 channel hub (black),Marimba 1
X1,10ft XLR,Marimba 1
X2,"XLR to TRS, 25'",Marimba 1
T1,Cat5 trunk 100 ft,Mixer
P1,"Cable from hub 2 to the mixer, 7 ft 6 in",Mixer
"""


NAMED_SO = "\n".join(line.partition(",")[2] for line in DESCRIBED.splitlines())
"""Here the description is all that names a piece, so it is the label."""


@pytest.mark.parametrize("sheet", [DESCRIBED, NAMED_SO])
def test_what_a_description_tells_is_taken(sqlite_url: str, sheet: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, sheet)
        assert {fate for _, fate in fates(page)} == {"New"}
        assert page.text.count("is taken as its length.") == 4
        brought_in(program, sheet)
        with program.store.reading() as db:
            found = db.execute(select(Item.kind, Item.wiring, Item.length_mm)).all()
        assert sorted(map(tuple, found)) == [
            ("cable", "xlr3", 2286),
            ("cable", "xlr3", 3048),
            ("cable", "xlr3-to-trs", 7620),
            ("hub", "d25-to-xlr8", 0),
            ("trunk", "8p8c", 30480),
        ]
        assert {fate for _, fate in fates(tried(program, sheet))} == {"Same"}


def test_a_description_is_kept_as_a_note(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, DESCRIBED)
        notes = program.lead.get("/exchange/gear.csv").text
    assert "8 channel hub (black)" in notes


def test_a_description_without_a_length_is_asked_for_it(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, DESCRIBED + "Z1,left over cable,Mixer\n")
        assert fates(page)[-1] == (7, "Wrong")
        assert "a cable needs its length" in page.text
