"""The addresses at which the service can be reached, found without sending a packet."""

import errno
import socket

from service.kit.problems import Problem

_EVERYWHERE = {"0.0.0.0", "::", ""}  # noqa: S104 (compared with, not bound)
_HERE = {"127.0.0.1", "::1", "localhost"}


class CannotListen(Problem):
    """The service cannot listen at the requested address and port."""

    title = "Cannot listen there"


def addresses(host: str, port: int) -> list[str]:
    """The http addresses at which a service bound to `host` is reached.

    The one for this computer comes first, then, if the service listens to the network too, the one for phones.
    """
    here = f"http://localhost:{port}"
    if host in _HERE:
        return [here]
    if host not in _EVERYWHERE:
        return [f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"]
    there = lan_address()
    return [here, f"http://{there}:{port}"] if there else [here]


def lan_address() -> str | None:
    """This computer's IPv4 address in its local network; None without a network.

    Connecting a datagram socket sends nothing; it only makes the system choose the interface it would send
    from. The remote address is in TEST-NET-1 (RFC 5737), which is reserved for documentation.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return None
        address: str = probe.getsockname()[0]
        return None if address.startswith("127.") else address


def refuse_taken_port(host: str, port: int) -> None:
    """Bind the port and release it, so that a port in use is reported before anything is started.

    Raises:
        CannotListen: the port cannot be used; the sentence says what to do.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OverflowError:
            raise CannotListen(f"There is no port {port}: ports go from 1 to 65535.") from None
        except OSError as error:
            raise CannotListen(_sentence(error, host, port)) from error


def _sentence(error: OSError, host: str, port: int) -> str:
    if error.errno == errno.EADDRINUSE:
        return (
            f"Port {port} is taken by another program; choose another one, "
            f"like this: PORT={port % 65535 + 1} bash deploy/run.sh (or coilbook serve --port …)."
        )
    if error.errno == errno.EACCES:
        return f"Port {port} is reserved for the system's own services; choose one above 1023 with --port."
    return f"This computer cannot listen at {host}; --host 0.0.0.0 listens at every address it has."
