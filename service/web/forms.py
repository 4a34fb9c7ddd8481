"""Reading what was posted: a form's fields into a pydantic model, with a sentence for each field that is wrong; and the
client's id of a write, made with the page on the server, or by a script on the phone.
"""

from collections.abc import Callable, Iterable
from typing import Annotated, Any, TypeVar
from uuid import UUID, uuid4

from fastapi import Depends, Request
from pydantic import BaseModel, BeforeValidator, ValidationError
from pydantic_core import PydanticCustomError
from starlette.datastructures import FormData

from service.kit.problems import Invalid, Problem, invalid
from service.web.problems import sentence

Model = TypeVar("Model", bound=BaseModel)


def read_by(parse: Callable[[Any], Any]) -> BeforeValidator:
    """A pydantic validator from one of our own readers, keeping its sentence; a value that is no text passes on."""

    def read(value: Any) -> Any:
        if not isinstance(value, str):
            return value
        try:
            return parse(value)
        except Problem as problem:
            raise PydanticCustomError("refused", "{why}", {"why": problem.detail}) from problem

    return BeforeValidator(read)


def refuse_nul(fields: Iterable[tuple[str, object]]) -> None:
    """Refuse a form with a NUL in it, which no keyboard types: PostgreSQL keeps no text with one, and SQLite keeps
    it as if it were nothing special.

    Raises:
        Invalid: naming the field that holds it.
    """
    for name, value in fields:
        if "\0" in name or (isinstance(value, str) and "\0" in value):
            shown = name.replace("\0", "")
            raise invalid(shown, f"{shown}: this text has characters that cannot be shown. Type it again.")


async def _posted(request: Request) -> FormData:
    posted = await request.form()
    refuse_nul(posted.multi_items())
    return posted


Posted = Annotated[FormData, Depends(_posted)]
"""The fields that a form sent."""


def read_form(model: type[Model], posted: FormData) -> Model:
    """The form's fields as `model`; a field that the model holds as a list may come several times.

    Raises:
        Invalid: with a sentence for every field that is wrong.
    """
    values: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        if "list[" in str(field.annotation) or "tuple[" in str(field.annotation):
            values[name] = [value for value in posted.getlist(name) if value != ""]
        elif posted.get(name) not in (None, ""):
            values[name] = posted.get(name)
    try:
        return model.model_validate(values)
    except ValidationError as error:
        errors = {str(one["loc"][0]): sentence([str(one["loc"][0])], one) for one in error.errors()}
        raise Invalid(" ".join(errors.values()), errors) from error


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
