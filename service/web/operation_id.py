"""The client's id of a write: made with the page on the server, or by a script on the phone."""

from uuid import UUID, uuid4

from service.kit.problems import invalid


def new_op() -> str:
    """A fresh id for a form's hidden field."""
    return str(uuid4())


def read_op(value: object) -> UUID:
    """The id that came with a form.

    Raises:
        Invalid: it is missing or no UUID.
    """
    try:
        return UUID(str(value))
    except ValueError as error:
        raise invalid("op", "This page is out of date. Open it again and send it once more.") from error
