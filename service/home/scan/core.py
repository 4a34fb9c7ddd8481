"""The purpose of a scan, and the address to which a scanned code leads. Pure.

An address is always made here from a validated code and ids, never taken from the scanned text or the request, so that
no scan leads to another site.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode
from uuid import UUID

from service.kit.codes import code_in_url, read_code
from service.kit.problems import Invalid
from service.kit.text import as_id
from service.testlog.core import SCANNED

LINE_MOST = 12
"""So many codes of a line are carried from scan to scan."""


@dataclass(frozen=True)
class Errand:
    """Why a tag is scanned: in a session for the next test, or, if the session is `counting`, to count the item; at an
    item (`ends_of`, its code) for its far end; for the spare that replaces a bad one (`swap_for`, its code); for an
    event's pull list; for the next item of a channel's line (`line_for`, the channel), after the items whose codes are
    in `line`; or just to see which item it is.
    """

    session: UUID | None = None
    ends_of: str = ""
    pull: UUID | None = None
    swap_for: str = ""
    counting: bool = False
    line_for: UUID | None = None
    line: tuple[str, ...] = ()

    @property
    def carried(self) -> dict[str, str]:
        """Its fields for forms and addresses."""
        session = {"session": str(self.session)} if self.session else {}
        pull = {"pull": str(self.pull)} if self.pull else {}
        line_for = {"line_for": str(self.line_for)} if self.line_for else {}
        codes = {"ends_of": self.ends_of, "swap_for": self.swap_for, "line": " ".join(self.line)}
        return session | pull | line_for | {name: code for name, code in codes.items() if code}

    def find(self, code: str) -> str:
        """The address that looks up a code for this errand."""
        return "/find?" + urlencode({"code": code} | self.carried)

    def target(self, code: str, guessed: bool = False) -> str:
        """The address for the code of an item; a code `guessed` from a mistyped one does not count as scanned."""
        session = {"session": str(self.session)} if self.session else {}
        if self.ends_of:
            return f"/t/{self.ends_of}/ends?" + urlencode({"far": code} | session)
        if self.swap_for:
            return "/swap?" + urlencode({"bad": self.swap_for, "spare": code})
        if self.line_for:
            return f"/channels/{self.line_for}?{urlencode({'items': ' '.join([*self.line, code])})}#lay"
        if self.pull:
            return f"/pull/{self.pull}/items/{code}"
        if self.counting:
            return f"/sessions/{self.session}/count?" + urlencode({"code": code})
        query = urlencode(session | ({} if guessed else {SCANNED: "1"}))
        return f"/t/{code}{'/test' if session else ''}" + (f"?{query}" if query else "")

    def at_place(self, place_id: UUID) -> str:
        """The address for the code of a place."""
        if self.counting:
            return f"/sessions/{self.session}/count/{place_id}"
        session = f"?{urlencode({'session': str(self.session)})}" if self.session else ""
        return f"/places/{place_id}/walk{session}"


def read_errand(fields: Mapping[str, str]) -> Errand:
    """The errand in the fields of an address or a form; an invalid id or code counts as none."""

    def field(name: str) -> str:
        return fields.get(name, "")

    return Errand(
        as_id(field("session")),
        _code(field("ends_of")),
        as_id(field("pull")),
        _code(field("swap_for")),
        line_for=as_id(field("line_for")),
        line=tuple(code for each in field("line").split()[:LINE_MOST] if (code := _code(each))),
    )


def _code(text: str) -> str:
    try:
        return code_in_url(text) or read_code(text)
    except Invalid:
        return ""
