"""HTTPS through the real Caddy, with the Caddyfile that ships and a certificate of Caddy's own authority.

It runs where Caddy is installed (Debian: apt-get install caddy); https.sh checks the file with it too.
"""

import os
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from http.cookies import SimpleCookie
from pathlib import Path

import httpx2 as httpx
import pytest
from playwright.sync_api import Browser

from service.crew import actions
from service.crew.core import Role
from tests.support.chromium import FLAGS, chromium_program
from tests.support.serving import Served, served
from tests.support.waiting import PATIENCE

HERE = Path(__file__).parents[2]

pytestmark = pytest.mark.skipif(shutil.which("caddy") is None, reason="Caddy is not installed")


@dataclass(frozen=True)
class Proxied:
    """The service behind Caddy, and the certificate of the authority that vouches for it."""

    service: Served
    authority: Path
    plain: str

    def client(self) -> httpx.Client:
        return httpx.Client(
            base_url=self.service.base,
            verify=ssl.create_default_context(cafile=str(self.authority)),
            headers={"Origin": self.service.base},
        )


def free_ports(count: int) -> list[int]:
    sockets = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports: list[int] = [each.getsockname()[1] for each in sockets]
    for each in sockets:
        each.close()
    return ports


@pytest.fixture(scope="module")
def proxied(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxied]:
    folder = tmp_path_factory.mktemp("caddy")
    plain, secure = free_ports(2)
    base = f"https://localhost:{secure}"
    settings = f"{{\n admin off\n skip_install_trust\n http_port {plain}\n https_port {secure}\n}}\n"
    config = folder / "Caddyfile"
    config.write_text(f"{settings}import {HERE / 'deploy' / 'Caddyfile'}\n")
    authority = folder / "caddy" / "pki" / "authorities" / "local" / "root.crt"
    with served(f"sqlite:///{folder / 'coilbook.db'}", base) as service:
        surroundings = os.environ | {
            "COILBOOK_NAME": "localhost",
            "COILBOOK_AT": service.at,
            "XDG_DATA_HOME": str(folder),
            "HOME": str(folder),
        }
        command = ["caddy", "run", "--adapter", "caddyfile", "--config", str(config)]
        with subprocess.Popen(command, env=surroundings, stderr=subprocess.PIPE, text=True) as caddy:
            assert caddy.stderr is not None
            try:
                for line in caddy.stderr:
                    if "serving initial configuration" in line:
                        break
                wait_for_certificate(authority, secure)
                yield Proxied(service, authority, f"http://localhost:{plain}")
            finally:
                caddy.terminate()
                caddy.communicate(timeout=PATIENCE)


def wait_for_certificate(authority: Path, port: int) -> None:
    """Caddy makes its certificates once it serves: ask until it has one."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        try:
            context = ssl.create_default_context(cafile=str(authority))
            with (
                socket.create_connection(("127.0.0.1", port)) as plain,
                context.wrap_socket(plain, server_hostname="localhost"),
            ):
                return
        except (OSError, ssl.SSLError):
            pass
    raise AssertionError("Caddy had no certificate in time")


def test_caddy_takes_the_file_as_it_ships() -> None:
    surroundings = os.environ | {"COILBOOK_NAME": "cables.example.org", "COILBOOK_AT": "web:8000"}
    command = ["caddy", "validate", "--adapter", "caddyfile", "--config", str(HERE / "deploy" / "Caddyfile")]
    done = subprocess.run(command, env=surroundings, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_a_cookie_travels_encrypted_only(proxied: Proxied) -> None:
    with proxied.service.store.writing() as db:
        made = actions.make_pass(db, Role.CREW, "Thursdays", None, datetime.now(UTC))
    with proxied.client() as phone:
        came = phone.post("/join", data={"pass": made.secret, "name": "Jo"})
        [(name, cookie)] = SimpleCookie(came.headers["set-cookie"]).items()
        assert (name, cookie["secure"], cookie["httponly"]) == ("__Host-coilbook", True, True)
        assert phone.get("/me").status_code == 200
        assert "max-age=" in came.headers["strict-transport-security"]


def test_pages_and_styles_are_compressed(proxied: Proxied) -> None:
    with proxied.client() as phone:
        for address in ("/sign-in", "/sw.js"):
            answer = phone.get(address, headers={"Accept-Encoding": "gzip"})
            assert (answer.status_code, answer.headers.get("content-encoding")) == (200, "gzip"), address


def test_http_leads_to_https(proxied: Proxied) -> None:
    answer = httpx.get(f"{proxied.plain}/due", follow_redirects=False)
    assert answer.status_code == 308
    assert answer.headers["location"].startswith("https://localhost")


@pytest.fixture
def trusting(browser: Browser) -> Iterator[Browser]:
    """A browser to which every authority is known, as Caddy's would be to one that had installed it."""
    flags = [*FLAGS, "--ignore-certificate-errors", "--use-fake-device-for-media-stream"]
    with browser.browser_type.launch(executable_path=chromium_program(camera=True), args=flags) as started:
        yield started


def test_a_phone_works_offline_and_may_use_its_camera(proxied: Proxied, trusting: Browser) -> None:
    with trusting.new_context(base_url=proxied.service.base, permissions=["camera"]) as context:
        page = context.new_page()
        page.goto(proxied.service.way_in(Role.CREW))
        page.get_by_label("Your name here").fill("Mira")
        page.get_by_role("button", name="Join").click()
        page.wait_for_url("**/")
        installed = "navigator.serviceWorker.register('/sw.js').then(() => navigator.serviceWorker.ready)"
        assert page.evaluate(f"{installed}.then(worker => worker.scope)") == f"{proxied.service.base}/"
        page.goto("/scan")
        asked = "navigator.mediaDevices.getUserMedia({video: true}).then(stream => stream.getVideoTracks().length)"
        assert page.evaluate(asked) == 1
