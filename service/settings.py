"""Settings, read once from COILBOOK_* variables and frozen.

| variable | meaning | default |
|---|---|---|
| COILBOOK_DATABASE_URL | database in SQLAlchemy's form | `sqlite:///data/coilbook.db` |
| COILBOOK_BASE_URL | where phones reach the service; printed in tags and join links | none: printing tags is refused |
| COILBOOK_LIMITS | `off` lifts the rate limits, for measuring on loopback only | `on` |
"""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

from service.kit.problems import Problem

DEFAULT_DATABASE = "sqlite:///data/coilbook.db"


@dataclass(frozen=True)
class Settings:
    """What the surroundings decide; everything else is the program's own and lives in the database."""

    database_url: str = DEFAULT_DATABASE
    base_url: str | None = None
    limits: bool = True

    @property
    def secure(self) -> bool:
        """Whether phones reach the service by HTTPS, so that cookies must never leave it."""
        return (self.base_url or "").startswith("https://")


def read_settings(environ: Mapping[str, str]) -> Settings:
    """Settings from the environment.

    Raises:
        Problem: a variable has a value that cannot be used; the sentence names it.
    """
    return Settings(
        database_url=_database(environ.get("COILBOOK_DATABASE_URL") or DEFAULT_DATABASE),
        base_url=_base(environ.get("COILBOOK_BASE_URL") or None),
        limits=_switch(environ.get("COILBOOK_LIMITS") or "on"),
    )


def _database(url: str) -> str:
    if url.startswith(("postgresql://", "postgres://")):
        return "postgresql+psycopg://" + url.partition("://")[2]
    if url.startswith(("sqlite:///", "postgresql+psycopg://")):
        return url
    raise Problem(
        "COILBOOK_DATABASE_URL must start with sqlite:/// or postgresql+psycopg://; "
        f"it starts with {url.partition(':')[0]!r}."
    )


def _base(url: str | None) -> str | None:
    if url is None:
        return None
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment:
        raise Problem(f"COILBOOK_BASE_URL must look like https://cables.example.org; it is {url!r}.")
    return url.rstrip("/")


def _switch(word: str) -> bool:
    if word not in ("on", "off"):
        raise Problem(f"COILBOOK_LIMITS must be on or off; it is {word!r}.")
    return word == "on"
