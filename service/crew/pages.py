"""Pages of people: signing in, joining, one's own page, the program's settings."""

import asyncio
from typing import Any
from zoneinfo import available_timezones

from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew import actions, queries
from service.crew.access import UnknownLink
from service.crew.context import (
    AnyoneContext,
    LeadContext,
    RequestContext,
    ViewerContext,
    cookie_name,
    device_cookie_name,
    page_router,
)
from service.crew.core import Role
from service.crew.devices.queries import devices_of
from service.crew.passphrases import actions as passphrases
from service.crew.passphrases.actions import CheckedPassphrase, PassphraseCheck
from service.kit.problems import Problem, invalid
from service.kit.quantities import Unit
from service.web.forms import Form, Posted, text, typed
from service.web.limits import PASSES

router = page_router()

COOKIE_LASTS = 365 * 24 * 3600
"""Seconds. The service decides when a sign-in ends; the cookie only has to outlive it."""


@router.get("/sign-in")
def sign_in_page(context: AnyoneContext, next: str = "/") -> Response:  # noqa: A002  (the address says so)
    """Sign in by name and passphrase, or see how to come in with a pass."""
    with context.reading():
        return context.page("crew/sign_in.html", form=Form(values={"next": inside(next)}))


@router.post("/sign-in")
async def sign_in(context: AnyoneContext, posted: Posted) -> Response:
    """Sign in by name and passphrase. `async`, so that no worker thread waits for the hash."""
    name, typed, now = text(posted, "name"), _passphrase(posted, "passphrase"), context.now
    target = inside(text(posted, "next") or "/")

    def look_up() -> PassphraseCheck:
        with context.reading() as db:
            limits = context.settings.limits
            return passphrases.look_up(db, name, typed, context.network, context.device, now, limits=limits)

    def write(checked: CheckedPassphrase) -> Response:
        with context.writing() as db:
            who, token = passphrases.sign_in(db, checked, now)
            actions.sign_out(db, context.token, now)  # what this browser was signed in as before
            device = passphrases.remember_device(db, who, token, context.device)
        return signed_in(context, token, target, device)

    def refuse(problem: Problem) -> Response:
        form = Form(values={"name": name, "next": target}).wrong({"name": problem.detail}, problem.status)
        return refused(context, problem, "crew/sign_in.html", form=form)

    try:
        wanted = await run_in_threadpool(look_up)
        turn = context.hashing.submit(lambda: passphrases.compare(context.store, wanted, now), known=wanted.from_known)
        return await run_in_threadpool(write, await asyncio.wrap_future(turn))
    except Problem as problem:  # not `submit`: to a stranger every refusal is shown on the form
        return await run_in_threadpool(refuse, problem)


@router.get("/join")
def join_page(context: AnyoneContext, next: str = "/") -> Response:  # noqa: A002
    """The form for joining with a pass. The secret is in the URL's fragment, which no server or log ever sees."""
    with context.reading():
        return context.page("crew/join.html", form=Form(values={"next": inside(next)}))


@router.post("/join")
def join(context: AnyoneContext, posted: Posted) -> Response:
    """Sign in with a pass."""
    name, secret, target = text(posted, "name"), text(posted, "pass"), inside(text(posted, "next") or "/")
    try:
        with context.counting(PASSES, UnknownLink), context.reading() as db:
            actions.check_pass(db, secret, context.now)  # reads only, so that guesses do not block writes
        with context.writing() as db:
            who, token = actions.join(db, secret, name, context.now, sure=_sure(posted))
            actions.sign_out(db, context.token, context.now)
            device = passphrases.remember_device(db, who, token, context.device)
    except Problem as problem:  # not `submit`: to a stranger every refusal is shown on the form
        form = Form(values={"name": name, "pass": secret, "next": target}).refused(problem, "pass")
        return refused(context, problem, "crew/join.html", form=form)
    return signed_in(context, token, "/me?new=1" if who.role == Role.LEAD else target, device)


@router.post("/sign-out")
def sign_out(context: AnyoneContext, posted: Posted) -> Response:
    """End this browser's sign-in; a phone with an empty outbox sends `clear`, so that all our data on it is deleted."""
    with context.writing() as db:
        actions.sign_out(db, context.token, context.now)
    response = RedirectResponse("/sign-in", 303)
    response.delete_cookie(
        cookie_name(context.settings.secure), path="/", secure=context.settings.secure, httponly=True
    )
    if posted.get("clear") == "yes":
        response.headers["Clear-Site-Data"] = '"cache", "storage"'
    return response


@router.get("/me")
def my_page(context: ViewerContext, new: bool = False, ended: bool = False, named: bool = False) -> Response:
    """The account page: name, role, passphrase, signed-in devices, signing out."""
    with context.reading() as db:
        called = f"You are called {context.me.display_name} now." if named else ""
        return _me(context, db, Form(), new=new, saved="Signed out there." if ended else called)


@router.post("/me/name")
def rename(context: ViewerContext, posted: Posted) -> Response:
    """Change one's display name."""
    form = typed(posted, "name")

    def change() -> str:
        with context.writing() as db:
            actions.rename(db, context.me, form.values["name"], context.now, sure=_sure(posted))
        return "/me?named=1"

    return context.submit(form, change, lambda db, form: _me(context, db, form))


@router.post("/me/address")
def keep_address(context: ViewerContext, posted: Posted) -> Response:
    """Set or remove one's mail address."""
    form = typed(posted, "address")

    def keep() -> Response:
        with context.writing() as db:
            actions.keep_address(db, context.me, form.values["address"], context.now)
        with context.reading() as db:
            saved = "Address kept." if form.values["address"] else "Forgotten: no mail comes any more."
            return _me(context, db, Form(), saved=saved)

    return context.submit(form, keep, lambda db, form: _me(context, db, form))


@router.post("/me/passphrase")
def set_passphrase(context: LeadContext, posted: Posted) -> Response:
    """Set one's passphrase."""

    def keep() -> Response:
        new, now, limits = _passphrase(posted, "passphrase"), context.now, context.settings.limits
        with context.reading() as db:
            current = _passphrase(posted, "current")
            wanted = passphrases.look_up_own(db, context.me, current, context.session, now, limits=limits)
            passphrases.read_new(new, context.me.display_name, context.program.name)
        turn = context.hashing.submit(lambda: passphrases.compare_own(context.store, wanted, new, now), known=True)
        try_id, hashed = turn.result()
        with context.writing() as db:
            passphrases.set_passphrase(db, context.me, hashed, try_id, context.session, now)
        with context.reading() as db:
            return _me(context, db, Form(), saved="Passphrase kept.")

    return context.submit(Form(), keep, lambda db, form: _me(context, db, form))


@router.get("/settings")
def settings_page(context: LeadContext) -> Response:
    """The form of the program's settings."""
    with context.reading():
        program = context.program
        values = {name: getattr(program, name) for name in _SETTINGS}
        return _settings(context, Form(values=values))


@router.post("/settings")
def save_settings(context: LeadContext, posted: Posted) -> Response:
    """Set the program's settings."""
    values = {name: " ".join(text(posted, name).split()) for name in _SETTINGS}

    def keep() -> str:
        with context.writing() as db:
            _check_settings(values)
            actions.keep_settings(db, values)
            queries.note_in_audit(db, context.now, context.me.id, "settings.saved", values["name"], values)
        return "/settings?saved=1"

    return context.submit(Form(values=values), keep, lambda _, form: _settings(context, form))


def _me(context: RequestContext, db: Session, form: Form, *, new: bool = False, saved: str = "") -> Response:
    kept = {"name": context.me.display_name, "address": queries.address_of(db, context.me.id)}
    return context.page(
        "crew/me.html",
        form=form.starting_with(kept),
        new=new,
        saved=saved,
        mails=context.settings.mail is not None,
        has_passphrase=queries.has_passphrase(db, context.me.id),
        devices=devices_of(db, context.me.id, context.session, context.now),
    )


def _settings(context: RequestContext, form: Form) -> Response:
    return context.page(
        "crew/settings.html",
        form=form,
        zones=sorted(zone for zone in available_timezones() if "/" in zone or zone == "UTC"),
        saved=context.request.query_params.get("saved") == "1",
        base_url=context.settings.base_url,
    )


_SETTINGS = ("name", "zone", "unit", "return_note", "end_a", "end_b")


def _check_settings(values: dict[str, str]) -> None:
    if not 1 <= len(values["name"]) <= 60:
        raise invalid("name", "Enter the program's name, 60 characters at the most.")
    if values["zone"] not in available_timezones():
        raise invalid("zone", f"“{values['zone']}” is no time zone; write it like America/Chicago.")
    if values["unit"] not in list(Unit):
        raise invalid("unit", "Lengths are shown in feet or in meters; choose one.")
    for name in ("end_a", "end_b"):
        if len(values[name]) > 20:
            raise invalid(name, "What an end is called may have 20 characters at the most, like “red end”.")
    if values["end_a"] and values["end_a"].lower() == values["end_b"].lower():
        raise invalid("end_b", "Both ends have the same name. Give them different ones, or leave both empty.")
    if len(values["return_note"]) > 200:
        raise invalid("return_note", "The note to a finder may have 200 characters at the most.")


def _sure(posted: FormData) -> bool:
    """Whether the name was sent before and is confirmed."""
    return text(posted, "name") != "" and text(posted, "sure") == text(posted, "name")


def join_link(context: RequestContext, secret: str, then: str = "") -> str:
    """The URL of a pass's QR code, which redirects to `then`. The secret is in the fragment, so it reaches no log."""
    return f"{context.base}/join{f'?next={then}' if then else ''}#{secret}"


def signed_in(context: RequestContext, token: str, target: str, device: str) -> Response:
    """Redirect to `target` with the cookie of the sign-in, and of the device if it has one."""
    response, secure = RedirectResponse(target, 303), context.settings.secure
    for name, value in ((cookie_name(secure), token), (device_cookie_name(secure), device)):
        if value:
            response.set_cookie(
                name, value, path="/", httponly=True, samesite="lax", secure=secure, max_age=COOKIE_LASTS
            )
    return response


def refused(context: RequestContext, problem: Problem, template: str, **shown: Any) -> Response:
    """The page with the form again, and the time to wait before a retry."""
    response = context.page(template, **shown)
    if problem.wait is not None:
        response.headers["Retry-After"] = str(problem.wait)
    return response


def inside(target: str) -> str:
    """A path of this site to redirect to; anything that would lead to another site becomes the page Now."""
    fine = target.startswith("/") and not target.startswith("//") and "\\" not in target and target.isprintable()
    return target if fine else "/"


def _passphrase(posted: FormData, name: str) -> str:
    """A passphrase exactly as it was typed, with spaces at its ends."""
    value = posted.get(name)
    return value if isinstance(value, str) else ""
