"""Who asks for the head of an answer gets it, as uptime monitors do (RFC 9110, 9.3.2), and a request names one host."""

from http.client import HTTPConnection
from urllib.parse import urlsplit

import pytest

from tests.support.serving import served
from tests.support.waiting import PATIENCE


def test_nothing_comes_after_the_head(sqlite_url: str) -> None:
    with served(sqlite_url) as service:
        found = []
        for method in ("GET", "HEAD"):
            connection = HTTPConnection(urlsplit(service.base).netloc, timeout=PATIENCE)
            connection.request(method, "/healthz")
            answer = connection.getresponse()
            found.append((answer.status, answer.getheader("Content-Length"), answer.read()))
            connection.close()
    whole, head = found
    assert head == (200, whole[1], b"")
    assert whole[2]


@pytest.mark.parametrize("named", [[], ["evil.example"], ["evil.example", "HOST"], ["HOST", "evil.example"]])
def test_a_request_that_names_no_host_of_ours_or_two_is_refused(sqlite_url: str, named: list[str]) -> None:
    with served(sqlite_url) as service:
        own = urlsplit(service.base).netloc
        connection = HTTPConnection(own, timeout=PATIENCE)
        connection.putrequest("GET", "/healthz", skip_host=True)
        for host in named:
            connection.putheader("Host", own if host == "HOST" else host)
        connection.endheaders()
        assert connection.getresponse().status in (400, 421)
        connection.close()
