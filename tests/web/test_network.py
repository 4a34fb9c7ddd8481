"""Addresses are this computer's own, and a port that cannot be had is named."""

import ipaddress
import socket
from collections.abc import Iterator

import pytest

from service.web.network import CannotListen, addresses, lan_address, refuse_taken_port


@pytest.fixture
def taken() -> Iterator[int]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


def test_the_lan_address_is_one_this_computer_can_listen_at() -> None:
    found = lan_address()
    if found is None:
        pytest.skip("this computer is in no network")
    assert not ipaddress.ip_address(found).is_loopback
    with socket.create_server((found, 0)):
        pass


@pytest.mark.parametrize(
    ("host", "expected"),
    [
        ("127.0.0.1", ["http://localhost:8000"]),
        ("localhost", ["http://localhost:8000"]),
        ("192.0.2.17", ["http://192.0.2.17:8000"]),
        ("2001:db8::17", ["http://[2001:db8::17]:8000"]),
    ],
)
def test_addresses_follow_what_is_listened_at(host: str, expected: list[str]) -> None:
    assert addresses(host, 8000) == expected


def test_listening_everywhere_offers_this_computer_first() -> None:
    lan = lan_address()
    assert addresses("0.0.0.0", 8000) == ["http://localhost:8000", *([f"http://{lan}:8000"] if lan else [])]


def test_a_taken_port_is_named_with_the_way_out(taken: int) -> None:
    with pytest.raises(CannotListen, match=rf"Port {taken} is taken .* PORT={taken % 65535 + 1} ") as refused:
        refuse_taken_port("127.0.0.1", taken)
    assert str(refused.value).count(". ") == 0


def test_a_free_port_is_let_go_again(taken: int) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        free = server.getsockname()[1]
    refuse_taken_port("127.0.0.1", free)
    with socket.create_server(("127.0.0.1", free)):
        pass


@pytest.mark.parametrize(
    ("host", "port", "sentence"),
    [("127.0.0.1", 65536, "There is no port 65536"), ("192.0.2.17", 0, "cannot listen at 192.0.2.17")],
)
def test_what_cannot_be_listened_at_is_named(host: str, port: int, sentence: str) -> None:
    with pytest.raises(CannotListen, match=sentence):
        refuse_taken_port(host, port)
