"""A body over the limit is answered with its page, once all of it was sent: no browser or proxy sees a broken line."""

import socket
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, expect

from service.crew.core import Role
from service.exchange.sheets.core.sheet import BYTES_MOST
from service.web.middleware.security import BODY_MOST
from tests.support.serving import served
from tests.support.waiting import PATIENCE

PIECE = b"x" * 500_000
HEAD = (
    "POST /exchange/sheet HTTP/1.1\r\nHost: localhost\r\nSec-Fetch-Site: same-origin\r\n"
    "Content-Type: multipart/form-data; boundary=x\r\n"
)


@pytest.mark.parametrize("chunked", [False, True])
def test_it_is_answered_once_it_is_all_there_and_the_line_stays(sqlite_url: str, chunked: bool) -> None:
    pieces = BODY_MOST // len(PIECE) + 6
    begun, sized = (
        b"--x\r\nContent-Disposition: form-data; name=file; filename=a\r\n\r\n",
        pieces * len(PIECE),
    )
    with served(sqlite_url) as at:
        parts = urlsplit(at.base)
        with socket.create_connection((parts.hostname or "", parts.port or 0), timeout=PATIENCE) as phone:
            how = "Transfer-Encoding: chunked" if chunked else f"Content-Length: {len(begun) + sized}"
            phone.sendall(f"{HEAD}{how}\r\n\r\n".encode())
            for piece in (begun, *[PIECE] * pieces):
                phone.setblocking(False)
                with pytest.raises(BlockingIOError):  # nothing was answered in the middle
                    phone.recv(1)
                phone.settimeout(20)
                phone.sendall(b"%x\r\n%b\r\n" % (len(piece), piece) if chunked else piece)
            phone.sendall(b"0\r\n\r\n" if chunked else b"")
            with phone.makefile("rb") as answers:
                assert answers.readline().split()[1] == b"413"
                told = dict(line.decode().lower().split(": ", 1) for line in iter(answers.readline, b"\r\n"))
                page = answers.read(int(told["content-length"]))
                assert b"6 MB at the most" in page
                phone.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
                assert answers.readline().split()[1] == b"200"


def test_who_asks_before_sending_is_told_at_once(sqlite_url: str) -> None:
    with served(sqlite_url) as at:
        parts = urlsplit(at.base)
        with socket.create_connection((parts.hostname or "", parts.port or 0), timeout=PATIENCE) as program:
            program.sendall(f"{HEAD}Expect: 100-continue\r\nContent-Length: 90000000\r\n\r\n".encode())
            assert program.recv(12) == b"HTTP/1.1 413"


def test_a_browser_says_it_before_sending_and_shows_the_page_after(
    sqlite_url: str, browser: Browser, tmp_path: Path
) -> None:
    sheet = tmp_path / "gear.csv"
    with served(sqlite_url) as at:
        for script in (True, False):
            context = browser.new_context(java_script_enabled=script)
            page = context.new_page()
            if script:
                page.goto(at.way_in(Role.LEAD))
                page.get_by_label("Your name here").fill("Robin")
                page.get_by_role("button", name="Join").click()
                page.wait_for_url(f"{at.base}/me?new=1")
                cookies = context.cookies()
            else:
                context.add_cookies(cookies)  # type: ignore[arg-type]
            page.goto(f"{at.base}/exchange")
            chosen, send = page.get_by_label("A CSV file"), page.get_by_role("button", name="Look at it")
            sheet.write_bytes(b"Name,Length\n" + b"low end,10 ft\n" * (BODY_MOST // 14 + 1))
            chosen.set_input_files(sheet)
            send.click()
            if script:
                assert page.url == f"{at.base}/exchange"
                said = chosen.evaluate("input => input.validationMessage")
                assert said.startswith("This file has 6.0 MB; 2 MB are the most.")
                small = tmp_path / "few.csv"
                small.write_bytes(b"Name,Length\nlow end,10 ft\n")
                chosen.set_input_files(small)
                send.click()
                expect(page.get_by_role("heading", name="What is what?")).to_be_visible()
            else:
                expect(page.get_by_text("A request may hold 6 MB at the most.")).to_be_visible()
                page.go_back()
                sheet.write_bytes(b"Name,Length\n" + b"low end,10 ft\n" * (BYTES_MOST // 14 + 1))
                chosen.set_input_files(sheet)
                send.click()
                expect(page.get_by_text("This file has 2.0 MB; 2 MB are the most.").first).to_be_visible()
            context.close()
