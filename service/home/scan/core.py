"""What somebody scans for, and where a scanned code leads. Pure.

An address is always put together here from a code and ids that were read, never taken from what was scanned or
asked: no scan leads off this site.
"""

from dataclasses import dataclass
from urllib.parse import urlencode
from uuid import UUID

from service.kit.codes import code_in_url, read_code
from service.kit.problems import Invalid


@dataclass(frozen=True)
class Errand:
    """Why a tag is scanned: in a session for the next test, at an item (`ends_of`, its code) for its far end, on the
    walk with an event's pull list, or just to see what it is on."""

    session: UUID | None = None
    ends_of: str = ""
    pull: UUID | None = None

    @property
    def carried(self) -> dict[str, str]:
        """What forms and addresses carry of it."""
        session = {"session": str(self.session)} if self.session else {}
        pull = {"pull": str(self.pull)} if self.pull else {}
        return session | pull | ({"ends_of": self.ends_of} if self.ends_of else {})

    def find(self, code: str) -> str:
        """The address that looks a code up for this errand."""
        return "/find?" + urlencode({"code": code} | self.carried)

    def target(self, code: str) -> str:
        """Where the code of an item leads."""
        session = {"session": str(self.session)} if self.session else {}
        if self.ends_of:
            return f"/t/{self.ends_of}/ends?" + urlencode({"far": code} | session)
        if self.pull:
            return f"/pull/{self.pull}/items/{code}"
        return f"/t/{code}/test?{urlencode(session)}" if session else f"/t/{code}"

    def at_place(self, place_id: UUID) -> str:
        """Where the code of a place leads."""
        session = f"?{urlencode({'session': str(self.session)})}" if self.session else ""
        return f"/places/{place_id}/walk{session}"


def read_errand(session: str = "", ends_of: str = "", pull: str = "") -> Errand:
    """The errand that an address or a form carries; what is no id or no code of ours counts as none."""
    return Errand(_as_id(session), _code(ends_of), _as_id(pull))


def _code(text: str) -> str:
    try:
        return code_in_url(text) or read_code(text)
    except Invalid:
        return ""


def _as_id(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None
