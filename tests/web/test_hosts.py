"""The service answers to its own names only, and takes posts from its own pages only."""

import pytest

from service.web.middleware.security import Hosts, hosts_of

AT_HOME = Hosts(None, secure=False, own=frozenset({"truck", "truck.local"}))
NAMED = Hosts("cables.example.org", secure=True, own=frozenset({"truck"}))


@pytest.mark.parametrize(
    "host",
    ["localhost:8000", "127.0.0.1", "[::1]:8000", "192.168.1.20:8000", "[fd00::7]", "truck.local:8000"],
)
def test_in_a_local_network_it_goes_by_number_and_by_its_own_name(host: str) -> None:
    assert AT_HOME.known(host)


@pytest.mark.parametrize("host", ["cables.example.org", "CABLES.example.org:443", "localhost:8000", "127.0.0.1:8000"])
def test_with_a_name_of_its_own_it_goes_by_that(host: str) -> None:
    assert NAMED.known(host)


FOREIGN = [
    "evil.example",
    "cables.example.org.evil.example",
    "evil.example:80",
    "",
    " ",
    "localhost.evil.example",
    "localhost@evil.example",
    "evil.example/localhost",
    "[evil]",
    "[::1",
    "localhost:abc",
    "a b",
    "127.0.0.1.evil.example",
]


@pytest.mark.parametrize("host", FOREIGN)
@pytest.mark.parametrize("hosts", [AT_HOME, NAMED])
def test_a_foreign_name_is_not_ours(hosts: Hosts, host: str) -> None:
    assert not hosts.known(host)


@pytest.mark.parametrize("host", ["192.168.1.20:8000", "truck", "203.0.113.7"])
def test_with_https_there_is_no_other_name(host: str) -> None:
    assert not NAMED.known(host)


@pytest.mark.parametrize(
    ("hosts", "origin", "same"),
    [
        (AT_HOME, "http://192.168.1.20:8000", True),
        (AT_HOME, "http://192.168.1.20", False),
        (AT_HOME, "http://evil.example", False),
        (AT_HOME, "null", False),
        (AT_HOME, "http://[", False),
        (NAMED, "https://192.168.1.20:8000", True),
        (NAMED, "http://192.168.1.20:8000", False),
    ],
)
def test_an_origin_is_ours_by_scheme_host_and_port(hosts: Hosts, origin: str, same: bool) -> None:
    assert hosts.same_origin(origin, "192.168.1.20:8000") is same


def test_the_base_url_tells_the_names() -> None:
    assert hosts_of("https://Cables.Example.org").base == "cables.example.org"
    assert hosts_of("https://cables.example.org").secure
    assert hosts_of(None).base is None
