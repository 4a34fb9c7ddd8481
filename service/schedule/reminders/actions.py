"""Mailing the weekly digest, and a reminder the day before a session, each once.

A letter is claimed in the database before it is handed over. One that certainly was not sent is released and tried
again in the next run; one that may have been sent stays claimed, since a missing letter is better than two.
"""

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from email.message import EmailMessage
from email.utils import format_datetime
from smtplib import SMTP
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from service.crew.core import ProgramFacts
from service.crew.queries import program_facts
from service.kit.dates import format_date, local_date
from service.kit.text import one_line
from service.schedule.reminders import queries
from service.schedule.reminders.core import LetterKind, digest_period, session_day, session_period
from service.schedule.reminders.smtp import POLICY, Undelivered, Unsure, connected, hand_over
from service.settings import MailServer
from service.store.sessions import Store
from service.web.render import ENVIRONMENT

LOG = logging.getLogger("coilbook.mail")
_IDS = UUID("5c0f2c0e-6a57-4c0e-8a39-0f7c2b9f3f11")


@dataclass(frozen=True)
class Letter:
    """A letter to one person: a kind and period, and its text as HTML and as plain text."""

    person_id: UUID
    to: str
    kind: LetterKind
    period: str
    subject: str
    plain: str
    marked_up: str

    def message(self, sender: str, now: datetime) -> EmailMessage:
        """The letter as it is mailed."""
        message = EmailMessage(policy=POLICY)
        message["From"], message["To"] = sender, self.to
        message["Subject"] = one_line(self.subject)
        message["Date"] = format_datetime(now)
        key = uuid5(_IDS, f"{self.person_id} {self.kind} {self.period}")
        message["Message-ID"] = f"<{key}@{sender.rpartition('@')[2].strip('>')}>"
        message["Auto-Submitted"] = "auto-generated"  # RFC 3834: no answering machine replies
        message.set_content(self.plain)
        message.add_alternative(self.marked_up, subtype="html")
        return message


def send_due(store: Store, server: MailServer, base: str, now: datetime) -> str:
    """Mail the letters that are due and not mailed yet; return a sentence about them."""
    with store.reading() as db:
        program = program_facts(db)
        letters = list(_due(db, program, base, now)) if program else []
    sent = 0
    if letters:
        try:
            with connected(server) as smtp:
                for letter in letters:
                    sent += _send(store, smtp, server.sender, letter, now)
        except Undelivered as trouble:
            LOG.warning("No mail went out, the next turn tries again: %s", trouble)
    return f"letters mailed: {sent} of {len(letters)}."


def _send(store: Store, smtp: SMTP, sender: str, letter: Letter, now: datetime) -> bool:
    if not queries.is_mailable(letter.to):  # moved from elsewhere, or restored; Now tells leads
        LOG.warning("A %s was not mailed: what person %s gave is no address for mail.", letter.kind, letter.person_id)
        return False
    key = (letter.person_id, letter.kind, letter.period)
    try:
        with store.writing() as db:
            queries.claim(db, *key, now)
    except IntegrityError:  # another process has claimed it
        return False
    try:
        hand_over(smtp, sender, letter.to, letter.message(sender, now))
    except Undelivered as trouble:
        with store.writing() as db:
            queries.release(db, *key)
        LOG.warning("A %s was not taken, the next turn tries again: %s", letter.kind, trouble)
        return False
    except Unsure as trouble:
        LOG.warning("A %s may have arrived or not, and is not sent again: %s", letter.kind, trouble)
        return False
    with store.writing() as db:
        queries.keep_sent(db, *key, now)
    return True


def _due(db: Session, program: ProgramFacts, base: str, now: datetime) -> Iterator[Letter]:
    readers = queries.readers(db)
    if not readers:
        return
    zone = ZoneInfo(program.zone)
    today = local_date(now, zone)
    period = digest_period(now, zone)
    have = queries.claimed(db, LetterKind.DIGEST, period)
    if any(person_id not in have for person_id, _ in readers):
        digest = queries.digest(db, today, zone)
        texts = _texts("digest", program, base, today, digest=digest)
        for person_id, to in readers:
            if person_id not in have:
                yield Letter(person_id, to, LetterKind.DIGEST, period, f"{program.name}: the week’s gear", *texts)
    on = session_day(now, zone)
    for session, place, lines in queries.sessions_on(db, on) if on else ():
        period = session_period(session.id, session.on)
        have = queries.claimed(db, LetterKind.SESSION, period)
        texts = _texts("session", program, base, today, session=session, place=place, lines=lines)
        for person_id, to in readers:
            if person_id not in have:
                yield Letter(person_id, to, LetterKind.SESSION, period, f"Tomorrow: {session.title}", *texts)


def _texts(name: str, program: ProgramFacts, base: str, today: date, **content: Any) -> tuple[str, str]:
    content |= {"program": program, "base": base, "today": today, "day": lambda on: format_date(on, today)}
    plain, marked_up = (
        ENVIRONMENT.get_template(f"schedule/mail/{name}.{form}").render(content) for form in ("txt", "html")
    )
    return plain, marked_up
