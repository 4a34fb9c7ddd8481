"""Tag codes. Published check characters show that the system is the standard's; the rest is ours to prove."""

from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_2

from service.kit.codes import ALPHABET, code_in_url, make_code, nearest, read_code
from service.kit.problems import Invalid

CODE = "7K3M9U"
EVERY = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
codes = st.randoms(use_true_random=False).map(make_code)


@pytest.mark.parametrize(
    ("body", "check"),
    [
        ("G123498654321", "H"),  # UK transfusion guidelines, annex 2 (prints sum 148354 and remainder 21)
        ("A999914123456", "N"),  # the example of ISBT 128
        ("G123489654321", "Y"),  # python-stdnum's documentation: the first one with 98 and 89 swapped
    ],
)
def test_check_characters_are_the_published_ones(body: str, check: str) -> None:
    assert mod_37_2.calc_check_digit(body) == check
    remainder = sum(2**place * EVERY.index(character) for place, character in enumerate(reversed(body), start=1)) % 37
    assert EVERY[(1 - remainder) % 37] == check


def test_the_alphabet_has_no_look_alikes() -> None:
    assert set(ALPHABET) == set(EVERY) - set("0O1IL5S8B*")
    assert len(ALPHABET) == 27


def test_the_number_of_codes_is_as_stated() -> None:
    """Counted without the library: each character makes the remainder 2 * (remainder + value) modulo 37."""
    beginnings = {0: 1}
    for _ in range(5):
        grown = dict.fromkeys(range(37), 0)
        for remainder, count in beginnings.items():
            for character in ALPHABET:
                grown[2 * (remainder + EVERY.index(character)) % 37] += count
        beginnings = grown
    assert sum(beginnings.values()) == 27**5
    issued = sum(count for remainder, count in beginnings.items() if EVERY[(1 - remainder) % 37] in ALPHABET)
    assert issued == 10_470_808
    assert 20_941 < issued / 500 < 20_942


@given(codes)
def test_codes_made_are_codes_read(code: str) -> None:
    assert set(code) <= set(ALPHABET)
    assert read_code(code) == code
    assert read_code(f" {code[:3].lower()}\u2013{code[3:]} ") == code


def test_a_seed_makes_the_same_codes_again() -> None:
    assert [make_code(Random(7)) for _ in range(2)] == [make_code(Random(7))] * 2
    random = Random(7)
    assert len({make_code(random) for _ in range(1000)}) > 990


@given(codes)
def test_every_wrong_character_and_every_swap_is_caught(code: str) -> None:
    for place in range(6):
        for character in set(ALPHABET) - {code[place]}:
            with pytest.raises(Invalid, match="a character is wrong, or two are swapped"):
                read_code(code[:place] + character + code[place + 1 :])
    for place, (left, right) in enumerate(pairwise(code)):
        if left != right:
            with pytest.raises(Invalid, match="two are swapped"):
                read_code(code[:place] + right + left + code[place + 2 :])


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "has 0"),
        ("7K3M9", "has 5"),
        ("7K3M9UU", "has 7"),
        ("OK3M9U", "never has the character O: is it D or Q?"),
        ("7k3m9l", "never has the character L: is it 7 or T?"),
        ("7K3M9*", "never has the character “*”"),
        ("7K3M9É", "never has the character “É”"),
        ("7K3M9ß", "never has the character S: is it 6 or 9?"),
        ("7K3M9A", "7K3M9A is no code"),
    ],
)
def test_it_says_why_a_code_is_none(typed: str, says: str) -> None:
    with pytest.raises(Invalid) as refusal:
        read_code(typed)
    assert says in refusal.value.errors["code"]


def test_look_alikes_come_before_swaps_before_other_slips() -> None:
    real = ["7K3M9V", "QK3M9U", "7K39MU", "AK3M9U", "AK3M9V", "K73M9U"]
    assert nearest("7k3-m9u", real) == ["7K3M9V", "7K39MU", "K73M9U", "AK3M9U", "QK3M9U"]
    assert nearest("OK3M9U", real) == ["QK3M9U", "AK3M9U"]
    assert nearest("7K3M9", real) == []


@given(codes)
def test_the_code_itself_is_nearest(code: str) -> None:
    assert nearest(code, [code, "MNPQRT"])[0] == code


@pytest.mark.parametrize(
    "text",
    [
        f"HTTPS://CABLES.EXAMPLE.ORG/T/{CODE}",
        f"https://old-host.example/t/{CODE.lower()}/",
        f"http://192.168.1.4:8000/t/{CODE}?from=print#top",
        f"https://host.example/prefix/T/{CODE}\n",
        f"https://t/t/{CODE}",
        f"/t/{CODE}",
    ],
)
def test_a_tag_is_read_whatever_its_host(text: str) -> None:
    assert code_in_url(text) == CODE


@pytest.mark.parametrize(
    "text",
    [
        "",
        CODE,
        f"https://host.example/x/{CODE}",
        "https://host.example/t/",
        "https://host.example/t/7K3M9A",
        f"https://host.example/t/{CODE}/more",
        f"https://host.example/t/{CODE} and more",
        f"https://host.example/x?next=/T/{CODE}x",
    ],
)
def test_other_links_are_not_tags(text: str) -> None:
    assert code_in_url(text) is None
