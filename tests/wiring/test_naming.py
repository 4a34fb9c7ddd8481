import pytest

from service.kit.problems import Invalid
from service.wiring.builtin import BUILTIN
from service.wiring.naming import Connector, conductor_words, connector_type, contact_words, listed
from service.wiring.wirings import Conductor, wiring


@pytest.mark.parametrize(
    ("key", "name", "words"),
    [
        ("xlr3", "2", "conductor 2 (hot)"),
        ("trs", "T", "conductor T (tip, hot)"),
        ("d25-to-xlr8", "24", "conductor 24 (hot of lane 1)"),
        ("xlr3x8", "3.1", "conductor 3.1 (shield of lane 3)"),
        ("8p8c", "6", "conductor 6 (cold of pair 2)"),
        ("8p8c-to-xlr4", "s2", "conductor s2 (shield of lane 2)"),
        ("d25x8-screened", "s", "the screen"),
        ("xlr3", "As", "the shell at end A"),
    ],
)
def test_conductors_are_called_by_number_role_and_lane(key: str, name: str, words: str) -> None:
    assert conductor_words(BUILTIN[key], name) == words


def test_a_name_that_is_not_there_is_refused() -> None:
    with pytest.raises(Invalid, match="“9”"):
        conductor_words(BUILTIN["xlr3"], "9")


@pytest.mark.parametrize(
    ("contact", "words"),
    [
        ("A2", "contact 2 at end A"),
        ("B3.2", "contact 2 of connector 3 at end B"),
        ("B3.s", "the shell of connector 3 at end B"),
        ("BR", "the ring at end B"),
    ],
)
def test_contacts_are_called_by_their_place(contact: str, words: str) -> None:
    assert contact_words(contact) == words


@pytest.mark.parametrize(
    ("key", "contact", "kind"),
    [
        ("xlr3", "A1", Connector.THREE),
        ("xlr3-to-trs", "BT", Connector.PLUG),
        ("d25-to-xlr8", "A13", Connector.D25),
        ("d25-to-xlr8", "B8.s", Connector.THREE),
        ("8p8c-to-xlr4", "As", Connector.EIGHT),
    ],
)
def test_connectors_are_told_by_their_contacts(key: str, contact: str, kind: Connector) -> None:
    assert connector_type(BUILTIN[key], contact) is kind


def test_an_own_connector_is_just_a_connector() -> None:
    own = wiring(["x", "s"], ["x", "s"], [Conductor("x", "Ax", "Bx", "single")])
    assert connector_type(own, "Ax") is Connector.OTHER


def test_lists_read_as_people_say_them() -> None:
    assert [listed(words) for words in (["a"], ["a", "b"], ["a", "b", "c"])] == ["a", "a and b", "a, b and c"]
