"""The table of tries at passphrases: counted in the database, so that workers and hosts count together."""

from datetime import datetime

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base, BigInt


class SignInTry(Base):
    """A wrong try at a passphrase, or one that is being looked at; deleted after an hour.

    Name and source (a network, or a device that signed in before) are fingerprints: nothing here tells who it was.
    """

    __tablename__ = "sign_in_try"
    __table_args__ = (Index(None, "name_hash", "at"), Index(None, "source_hash", "at"), Index(None, "at"))

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    at: Mapped[datetime]
    name_hash: Mapped[str]
    source_hash: Mapped[str]
    known: Mapped[bool]
