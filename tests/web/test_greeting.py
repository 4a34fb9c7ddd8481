"""The greeting can be read by a person, and its code by a phone."""

import re

import numpy as np
import pytest
import zxingcpp

from service.web.greeting import greeting

OWN, LAN, LINK = "http://localhost:8000", "http://192.0.2.17:8000", "http://localhost:8000/in#x"


def read_code(text: str) -> list[str]:
    """What a camera sees in the half blocks: each is two pixels, light where there is ink."""
    pixels = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), "\xa0": (0, 0)}
    rows = [line for line in re.sub(r"\x1b\[[0-9;]*m", "", text).splitlines() if line and set(line) <= set(pixels)]
    halves = [[[pixels[block][half] for block in row] for row in rows] for half in (0, 1)]
    picture = np.stack(halves, axis=1).reshape(-1, len(rows[0])).astype(np.uint8)
    seen = np.pad(picture.repeat(4, 0).repeat(4, 1), 16)  # on a dark screen
    return [found.text for found in zxingcpp.read_barcodes(seen)]


@pytest.mark.parametrize("colors", [True, False])
def test_the_code_leads_a_phone_to_the_service(colors: bool) -> None:
    text = greeting([OWN, LAN], LINK, colors=colors)
    assert read_code(text) == [LAN]
    assert ("\x1b" in text) == colors


def test_address_and_link_stand_there_to_be_clicked() -> None:
    lines = greeting([OWN, LAN], LINK).split()
    assert {OWN, LAN, LINK} <= set(lines)


def test_listening_at_the_phones_address_alone_still_leads_there() -> None:
    assert read_code(greeting([LAN], LINK)) == [LAN]


def test_a_lead_with_a_passphrase_gets_no_link() -> None:
    assert "Sign in" not in greeting([OWN, LAN], None)


def test_without_a_network_it_says_so_and_shows_no_code() -> None:
    text = greeting([OWN], LINK)
    assert "Phones cannot reach it" in text
    assert "█" not in text
