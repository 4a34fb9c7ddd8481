"""Refusals: what the service says when it cannot do what was asked.

A refusal is raised, never returned, so that the write it interrupts is rolled back. Every refusal names the
culprit and the way out in one sentence (`detail`); where fields of a form are at fault, `errors` has a sentence
for each. `service.web.problems` turns them into a page or RFC 9457 problem JSON.
"""

from collections.abc import Mapping


class Problem(Exception):
    """A refusal. Subclasses fix the HTTP `status` and the short `title`; instances say what and how out."""

    status = 400
    title = "That did not work"
    wait: int | None = None
    """Seconds after which the same may be sent again, where waiting helps."""

    def __init__(self, detail: str, errors: Mapping[str, str] | None = None) -> None:
        super().__init__(detail)
        self.detail = detail
        self.errors = dict(errors or {})


class Invalid(Problem):
    """The input is wrong; `errors` maps the field's name to a sentence."""

    status = 422
    title = "Please check what you entered"


def invalid(field: str, sentence: str) -> Invalid:
    """A refusal with one field at fault."""
    return Invalid(sentence, {field: sentence})


class Reused(Problem):
    """An operation id came again with other content."""

    status = 422
    title = "This was already used for something else"


class SignInNeeded(Problem):
    """Nobody is signed in, and the page is not for strangers."""

    status = 401
    title = "Please sign in"


class HandedOver(SignInNeeded):
    """It was the lead's who has handed the program over since."""

    title = "You handed this over"


class NotAllowed(Problem):
    """Signed in, but the role does not reach."""

    status = 403
    title = "Not yours to do"


class NotFound(Problem):
    """There is no such thing here."""

    status = 404
    title = "Not found"


class Conflict(Problem):
    """True a moment ago, no longer: somebody else was quicker, or the state does not allow it."""

    status = 409
    title = "That cannot be done now"


class Gone(Problem):
    """It was here and has ended for good (a retagged code, an expired link)."""

    status = 410
    title = "No longer valid"


class Busy(Problem):
    """The database is locked, full or away; the same request may be sent again."""

    status = 503
    title = "Busy, try again"
    wait = 2
