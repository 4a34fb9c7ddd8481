"""Reading what was posted: a form's fields into a pydantic model, with a sentence for each field that is wrong."""

from collections.abc import Callable
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Request
from pydantic import BaseModel, BeforeValidator, ValidationError
from pydantic_core import PydanticCustomError
from starlette.datastructures import FormData

from service.kit.problems import Invalid, Problem
from service.web.bodies import refuse_nul
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
