"""Which names the service answers to, and which pages may post to it.

A page elsewhere can give a name of its own our address (DNS rebinding) and would then be of one origin with us, so a
request under a foreign name is refused. With HTTPS the only name is that of the base URL. In a local network phones
use the computer's number, which nobody can rebind, or the name that it has there.
"""

import ipaddress
import re
import socket
from dataclasses import dataclass
from urllib.parse import urlsplit

_HOST = re.compile(r"(?P<name>\[[0-9a-fA-F:.]+\]|[^\[\]:/@\s]+)(?::\d{1,5})?")


@dataclass(frozen=True)
class Hosts:
    """The names of one service: `base` is the host of its base URL (None without one)."""

    base: str | None
    secure: bool
    own: frozenset[str] = frozenset()

    def known(self, header: str) -> bool:
        """Whether a request's Host header names this service."""
        match = _HOST.fullmatch(header)
        if match is None:
            return False
        name = match["name"].strip("[]").lower().rstrip(".")
        if name in (self.base, "localhost"):
            return True
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            return not self.secure and name in self.own
        return address.is_loopback or not self.secure

    def same_origin(self, origin: str, host: str) -> bool:
        """Whether an Origin header is that of a page of ours, which the browser fetched under this Host."""
        schemes = ("https",) if self.secure else ("http", "https")
        return origin in {f"{scheme}://{host}" for scheme in schemes}


def hosts_of(base_url: str | None) -> Hosts:
    """The names that go with a base URL."""
    name = socket.gethostname().lower()
    return Hosts(
        base=urlsplit(base_url or "").hostname,
        secure=(base_url or "").startswith("https://"),
        own=frozenset({name, f"{name.removesuffix('.local')}.local"}),
    )
