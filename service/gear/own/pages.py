"""Pages of wirings: the built-in ones and the program's own, and entering a new one."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.gear.own import actions, queries
from service.gear.queries import own_wiring
from service.gear.wirings import WIRING_NAMES, find_wiring, wiring_name
from service.kit.problems import NotFound
from service.web.forms import Form, Message, Posted, read_op, typed
from service.wiring.builtin import BUILTIN
from service.wiring.naming import conductor_words, contact_words
from service.wiring.own import parse_wiring
from service.wiring.text import in_text, wiring_in_text
from service.wiring.wirings import Wiring

router = page_router()

LABELS = {
    "name": "Name",
    "conductors": "Conductors",
    "others": "Contacts of no conductor",
    "bonds": "Bonds",
}
EXAMPLE = {
    "name": "",
    "conductors": "\n".join(in_text(BUILTIN["xlr3"])),
    "others": "As Bs",
    "bonds": "",
}
"""The initial values of the form: the plain three-contact cable, as an example to be changed."""


@dataclass(frozen=True)
class WiringText:
    """A wiring in words: a line for each of its conductors, its unused contacts, and its bonds."""

    conductors: tuple[tuple[str, str, str], ...]
    loose: tuple[str, ...]
    bonds: tuple[tuple[str, str], ...]
    lanes: int
    pairs: int


@router.get("/wirings")
def wirings_page(context: ViewerContext) -> Response:
    """Show every wiring: the program's own, and the built-in ones."""
    with context.reading() as db:
        return context.page(
            "gear/wirings.html",
            own=queries.every_own_wiring(db),
            builtin=[*WIRING_NAMES.items()],
            counts={key: len(wiring.conductors) for key, wiring in BUILTIN.items()},
        )


@router.get("/wirings/new")
def new_wiring(context: LeadContext) -> Response:
    """Show the form for a new wiring, with an example."""
    with context.reading():
        return _form(context, Form(values=EXAMPLE))


@router.post("/wirings/new")
def make_wiring(context: LeadContext, posted: Posted) -> Response:
    """Show the wiring as it was understood; store it when the same content is sent again."""
    form = typed(posted, *LABELS)

    def make() -> str | Response:
        op, values = form.id, form.values
        with context.reading() as db:
            spec = wiring_in_text(values["name"] or "this wiring", *_entered(values))
            if not _is_seen(posted, values, spec):
                actions.checked_name(db, values["name"])
                return _form(context, form, spec=spec, changed=bool(posted.get("seen")))
        key = context.once(
            op,
            "wiring.make",
            [values["name"], spec],
            lambda db: actions.make_wiring(db, values["name"], spec, context.actor),
        )
        return f"/wirings/{key}?said=made"

    return context.submit(form, make, lambda _, form: _form(context, form))


@router.get("/wirings/{key}")
def wiring_page(context: ViewerContext, key: str, message: Message = "") -> Response:
    """Show one wiring: which contacts it joins."""
    with context.reading() as db:
        return _wiring(context, db, key, message)


@router.post("/wirings/{key}/end")
def end_wiring(context: LeadContext, key: str, posted: Posted) -> Response:
    """Stop offering a wiring for new items."""
    op = read_op(posted.get("op"))
    context.once(op, "wiring.end", [key], lambda db: actions.end_wiring(db, key, context.actor))
    return RedirectResponse(f"/wirings/{key}?said=ended", 303)


def read_wiring_text(wiring: Wiring) -> WiringText:
    """A wiring in words."""
    return WiringText(
        tuple((conductor_words(wiring, wire.name), _short(wire.a), _short(wire.b)) for wire in wiring.conductors),
        tuple(contact_words(contact) for contact in wiring.loose_contacts),
        tuple((contact_words(bond.earlier), contact_words(bond.later)) for bond in wiring.bonds),
        len(wiring.lanes),
        len(wiring.pairs),
    )


def _short(contact: str) -> str:
    """A contact in words, without its end, which is the heading of its column."""
    return contact_words(contact).partition(" at end ")[0]


def _entered(values: Mapping[str, str]) -> tuple[str, str, str]:
    return values["conductors"], values["others"], values["bonds"]


def _print(values: Mapping[str, str], spec: dict[str, Any]) -> str:
    content = json.dumps([" ".join(values["name"].split()), spec], sort_keys=True)
    return hashlib.sha256(content.encode()).hexdigest()[:16]


def _is_seen(posted: FormData, values: Mapping[str, str], spec: dict[str, Any]) -> bool:
    """Whether exactly this content was shown before, since a stored wiring cannot be changed."""
    return posted.get("do") == "keep" and posted.get("seen") == _print(values, spec)


def _form(
    context: RequestContext, form: Form, *, spec: dict[str, Any] | None = None, changed: bool = False
) -> Response:
    shown = read_wiring_text(parse_wiring(spec, form.values["name"])) if spec else None
    return context.page(
        "gear/new_wiring.html",
        form=form,
        labels=LABELS,
        shown=shown,
        seen=_print(form.values, spec) if spec else "",
        changed=changed,
    )


def _wiring(context: RequestContext, db: Session, key: str, message: str) -> Response:
    own = own_wiring(db, key)
    if own is None and key not in BUILTIN:
        raise NotFound("There is no such wiring. The list has them all.")
    return context.page(
        "gear/wiring.html",
        key=key,
        name=wiring_name(db, key),
        own=own,
        shown=read_wiring_text(find_wiring(db, key)),
        items=queries.items_with(db, key),
        message=message,
    )
