"""The form of a test as its page shows it, and as the offline package has it."""

from dataclasses import dataclass, field
from uuid import UUID

from starlette.datastructures import FormData

from service.testlog.sheet import Entered
from service.web.forms import Form


@dataclass(frozen=True)
class TestForm(Form):
    """The state of the form of a test: what it was opened for, and what was entered."""

    code: str
    through: tuple[str, ...] = ()
    lanes: tuple[str, ...] = ()
    session: UUID | None = None
    entered: Entered = field(default_factory=Entered)
    posted: FormData = field(default_factory=FormData)
    scanned: bool = False
    pieces: str | None = None
    """What was typed as the items of the test, if it differs from them."""
    not_carried: bool = False
    """Whether contacts were marked that this form does not show."""
