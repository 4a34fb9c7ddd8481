"""Forms: what a page shows in a form; reading what was posted, with a sentence for each wrong field; and the operation
id of a write, which is made on the server with the page, or by a script on the phone.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, Self, TypeVar
from uuid import UUID

from fastapi import Depends, Query, Request
from pydantic import BaseModel, BeforeValidator, ValidationError
from pydantic_core import PydanticCustomError
from starlette.datastructures import FormData

from service.kit.problems import Invalid, Problem, invalid
from service.kit.text import as_id
from service.web.problems import sentence
from service.web.render import new_op

Model = TypeVar("Model", bound=BaseModel)

Message = Annotated[str, Query(alias="said")]
"""The query parameter of an address after a redirect that names the message to show: what was done."""

_UNREADABLE = re.compile("[\0\ud800-\udfff]")


def read_op(value: object) -> UUID:
    """The operation id of a form's write, from its hidden field.

    Raises:
        Invalid: it is missing or no UUID.
    """
    return read_id(value, "op")


def read_id(value: object, field: str) -> UUID:
    """An id that the page put into a field of its form; nobody types it.

    Raises:
        Invalid: for `field`, if it is missing or no UUID.
    """
    key = as_id(value)
    if key is None:
        raise invalid(field, "This page is out of date. Open it again and send it once more.")
    return key


@dataclass(frozen=True, kw_only=True)
class Form:
    """A form as a page shows it; templates get it as `form`.

    `values` are the texts of its fields, `errors` a sentence for each wrong field, `status` the HTTP status of the
    page. `op` is the operation id of its write; it stays the same after a refusal, since nothing was written under it.
    """

    values: Mapping[str, Any] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    op: str = field(default_factory=new_op)
    status: int = 200

    @property
    def id(self) -> UUID:
        """The operation id of its write.

        Raises:
            Invalid: it is missing or no UUID.
        """
        return read_op(self.op)

    def starting_with(self, values: Mapping[str, Any]) -> Self:
        """The form with these values in the fields that were not sent."""
        return replace(self, values={**values, **self.values})

    def wrong(self, errors: Mapping[str, str], status: int = 422) -> Self:
        """The form with these errors; unchanged where there are none."""
        if not errors:
            return self
        op = new_op() if "op" in errors else self.op
        return replace(self, errors={**self.errors, **errors}, status=status, op=op)

    def refused(self, refusal: Problem, beside: str = "") -> Self:
        """The form with the errors of a refusal. If the refusal names no field, its sentence is shown at the field
        `beside`.
        """
        return self.wrong(refusal.errors or {beside: refusal.detail}, refusal.status)


def read_by(parse: Callable[[Any], Any]) -> BeforeValidator:
    """A pydantic validator that calls one of our own parsers and keeps its sentence; other values than text are
    unchanged.
    """

    def read(value: Any) -> Any:
        if not isinstance(value, str):
            return value
        try:
            return parse(value)
        except Problem as problem:
            raise PydanticCustomError("refused", "{why}", {"why": problem.detail}) from problem

    return BeforeValidator(read)


def refuse_unreadable(fields: Iterable[tuple[str, object]]) -> None:
    """Refuse a form with a NUL or half a surrogate pair in a field. No keyboard types them, but PostgreSQL cannot store
    a NUL, and neither engine can store half a pair, which a form in an unusual character set can contain.

    Raises:
        Invalid: naming the field.
    """
    for name, value in fields:
        if _UNREADABLE.search(name) or (isinstance(value, str) and _UNREADABLE.search(value)):
            shown = _UNREADABLE.sub("", name)
            raise invalid(shown, f"{shown}: this text has characters that cannot be shown. Type it again.")


async def _posted(request: Request) -> FormData:
    try:
        posted = await request.form()
    except UnicodeError as error:  # its bytes do not fit the character set that it names
        raise Invalid("This form cannot be read. Open the page again and send it once more.") from error
    refuse_unreadable(posted.multi_items())
    return posted


Posted = Annotated[FormData, Depends(_posted)]
"""The fields of a posted form."""


def typed(posted: FormData, *names: str) -> Form:
    """The form as it was sent, with the trimmed texts of these fields; empty for one that was not sent."""
    return Form(values={name: text(posted, name) for name in names}, op=text(posted, "op"))


def text(posted: FormData, name: str) -> str:
    """A field as trimmed text; empty if it was not sent."""
    value = posted.get(name)
    return value.strip() if isinstance(value, str) else ""


def read_form(model: type[Model], posted: FormData) -> Model:
    """The form's fields as `model`; a field that is a list in the model may be sent several times.

    Raises:
        Invalid: with a sentence for every wrong field.
    """
    values: dict[str, Any] = {}
    for name, about in model.model_fields.items():
        if "list[" in str(about.annotation) or "tuple[" in str(about.annotation):
            values[name] = [value for value in posted.getlist(name) if value != ""]
        elif posted.get(name) not in (None, ""):
            values[name] = posted.get(name)
    try:
        return model.model_validate(values)
    except ValidationError as error:
        errors = {str(one["loc"][0]): sentence([str(one["loc"][0])], one) for one in error.errors()}
        raise Invalid(" ".join(errors.values()), errors) from error
