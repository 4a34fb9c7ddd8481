"""Mail goes encrypted, and only to a server whose certificate is good for its name."""

import ssl
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiosmtpd.controller import Controller

from service.schedule.reminders.actions import send_due
from service.settings import MailServer
from tests.schedule.test_reminders import BOTH, SENDER, Box, free_port, readers
from tests.support.program import BASE, running


@pytest.mark.parametrize("encrypted", [True, False], ids=["from the first octet on", "by STARTTLS"])
def test_the_servers_certificate_is_checked(
    sqlite_url: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    *,
    encrypted: bool,
) -> None:
    authority, here = trustme.CA(), ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert("127.0.0.1").configure_cert(here)
    how: dict[str, Any] = {"ssl_context": here} if encrypted else {"tls_context": here, "require_starttls": True}
    box, port = Box(), free_port()
    controller = Controller(box, hostname="127.0.0.1", port=port, **how)
    server = MailServer("127.0.0.1", port, SENDER, encrypted=encrypted)
    controller.start()
    try:
        with running(sqlite_url) as program:
            readers(program)
            send_due(program.store, server, BASE, program.clock.now)
            assert "certificate verify failed" in caplog.text
            assert box.take() == []
            authority.cert_pem.write_to_path(tmp_path / "authority.pem")
            monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))
            send_due(program.store, server, BASE, program.clock.now)
            assert box.take() == BOTH
    finally:
        controller.stop()
