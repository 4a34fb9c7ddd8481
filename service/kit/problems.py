"""Refusals: exceptions for requests that cannot be done.

A refusal is raised, never returned, so that the write it interrupts is rolled back. Every refusal names the
culprit and the way out in one sentence (`detail`); if fields of a form are wrong, `errors` has a sentence
for each. `service.web.problems` turns them into a page or RFC 9457 problem JSON.
"""

from collections.abc import Mapping


class Problem(Exception):
    """A refusal. Subclasses set the HTTP `status` and the short `title`; `detail` says what is wrong and what to do."""

    status = 400
    title = "That did not work"
    wait: int | None = None
    """Seconds after which the same request may be sent again; None if waiting does not help."""

    def __init__(self, detail: str, errors: Mapping[str, str] | None = None) -> None:
        super().__init__(detail)
        self.detail = detail
        self.errors = dict(errors or {})


class Invalid(Problem):
    """The input is wrong; `errors` maps the field's name to a sentence."""

    status = 422
    title = "Please check what you entered"


def invalid(field: str, sentence: str) -> Invalid:
    """An `Invalid` for one field."""
    return Invalid(sentence, {field: sentence})


class Reused(Problem):
    """An operation id was sent again with other content."""

    status = 422
    title = "This was already used for something else"


class SignInNeeded(Problem):
    """Nobody is signed in, and the page is not for strangers."""

    status = 401
    title = "Please sign in"


class HandedOver(SignInNeeded):
    """The sign-in belongs to a lead who has handed the program over."""

    title = "You handed this over"


class NotAllowed(Problem):
    """Somebody is signed in, but the role is not enough."""

    status = 403
    title = "Not yours to do"


class NotFound(Problem):
    """What was looked up does not exist."""

    status = 404
    title = "Not found"


class Conflict(Problem):
    """The present state does not allow it, perhaps because somebody else changed it a moment ago."""

    status = 409
    title = "That cannot be done now"


class Gone(Problem):
    """It existed and has ended for good (a retagged code, an expired link)."""

    status = 410
    title = "No longer valid"


class Busy(Problem):
    """The database is locked, full or unreachable; the same request may be sent again."""

    status = 503
    title = "Busy, try again"
    wait = 2
