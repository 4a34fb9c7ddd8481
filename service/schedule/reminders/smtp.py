"""Sending letters by a mail server (SMTP, RFC 5321), with a distinction of failed and unknown."""

import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from email import policy
from email.message import EmailMessage

from service.settings import MailServer

TIMEOUT = 10.0
"""Seconds to wait for each answer of the server."""
LOOPBACK = ("127.0.0.1", "::1", "localhost")

# Seven-bit, which every server on the way can relay.
POLICY = policy.SMTP.clone(cte_type="7bit")


class Undelivered(Exception):
    """The letter was certainly not sent: it may be tried again."""


class Unsure(Exception):
    """The connection broke after the letter was handed over: trying again might deliver it twice."""


@contextmanager
def connected(server: MailServer) -> Iterator[smtplib.SMTP]:
    """A connection to the server, encrypted if it offers that.

    Raises:
        Undelivered: it cannot be reached, or refuses us.
    """
    try:
        smtp = _connect(server)
    except OSError as error:  # smtplib's own are OSErrors, too
        raise Undelivered(f"{server.host}:{server.port}: {error}") from error
    try:
        yield smtp
    finally:
        smtp.close()


def hand_over(smtp: smtplib.SMTP, sender: str, to: str, letter: EmailMessage) -> None:
    """Hand one letter to the server.

    Raises:
        Undelivered, Unsure: see there.
    """
    content = letter.as_bytes(policy=POLICY)
    try:
        _check_answer(smtp.mail(sender))
        _check_answer(smtp.rcpt(to))
    except OSError as error:
        raise Undelivered(str(error)) from error
    except Undelivered:
        _forget(smtp)
        raise
    try:
        _check_answer(smtp.data(content))
    except smtplib.SMTPDataError as error:  # the server would not even take the text
        _forget(smtp)
        raise Undelivered(str(error)) from error
    except OSError as error:
        raise Unsure(str(error)) from error
    except Undelivered:
        _forget(smtp)
        raise


def _connect(server: MailServer) -> smtplib.SMTP:
    context = ssl.create_default_context()
    if server.encrypted:
        smtp: smtplib.SMTP = smtplib.SMTP_SSL(server.host, server.port, timeout=TIMEOUT, context=context)
    else:
        smtp = smtplib.SMTP(server.host, server.port, timeout=TIMEOUT)
    try:
        smtp.ehlo()
        if not server.encrypted and smtp.has_extn("starttls"):
            smtp.starttls(context=context)
            smtp.ehlo()
        elif server.user and not server.encrypted and server.host not in LOOPBACK:
            raise OSError("it offers no encryption, and a password is not sent in the clear")
        if server.user:
            smtp.login(server.user, server.password)
    except OSError:
        smtp.close()
        raise
    return smtp


def _check_answer(answer: tuple[int, bytes]) -> None:
    code, words = answer
    if not 200 <= code < 300:
        raise Undelivered(f"{code} {words.decode(errors='replace')}")


def _forget(smtp: smtplib.SMTP) -> None:
    try:
        smtp.rset()
    except OSError:  # the next letter finds out that nobody is there
        smtp.close()
