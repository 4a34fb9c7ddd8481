"""Pages of people: signing in, joining, one's own page, the program's settings."""

from zoneinfo import available_timezones

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew import actions, queries
from service.crew.context import AnyoneContext, LeadContext, RequestContext, ViewerContext, cookie_name
from service.crew.core import Role, fingerprint
from service.crew.devices.queries import devices_of
from service.kit.lengths import Unit
from service.kit.problems import Invalid, Problem, invalid
from service.web.forms import Posted
from service.web.limits import BY_ADDRESS, BY_NAME, PASSES, TooFast

router = APIRouter(include_in_schema=False)

COOKIE_LASTS = 365 * 24 * 3600
"""Seconds. The service decides when a sign-in ends; the cookie only has to outlive it."""


@router.get("/sign-in")
def sign_in_page(context: AnyoneContext, next: str = "/") -> Response:  # noqa: A002  (the address says so)
    """Sign in by name and passphrase, or see how to come in with a pass."""
    with context.reading():
        return context.page("crew/sign_in.html", values={"next": inside(next)}, errors={})


@router.post("/sign-in")
def sign_in(context: AnyoneContext, posted: Posted) -> Response:
    """Swap name and passphrase for a cookie."""
    target = inside(text(posted, "next") or "/")
    context.pace(BY_ADDRESS, context.network)
    context.pace(BY_NAME, fingerprint(text(posted, "name").strip().casefold()))
    try:
        with context.writing() as db:
            _, token = actions.sign_in(db, text(posted, "name"), text(posted, "passphrase"), context.now)
            actions.sign_out(db, context.token, context.now)  # what this browser was signed in as before
    except Problem as problem:
        errors = {"name": problem.detail}
        values = {"name": text(posted, "name"), "next": target}
        return context.page("crew/sign_in.html", problem.status, values=values, errors=errors)
    return signed_in(context, token, target)


@router.get("/join")
def join_page(context: AnyoneContext, next: str = "/") -> Response:  # noqa: A002
    """Come in with a pass. The secret rides in the address's fragment, which no server or log ever sees."""
    with context.reading():
        return context.page("crew/join.html", values={"next": inside(next)}, errors={})


@router.post("/join")
def join(context: AnyoneContext, posted: Posted) -> Response:
    """Swap a pass for a cookie."""
    values = {
        "name": text(posted, "name"),
        "pass": text(posted, "pass"),
        "next": inside(text(posted, "next") or "/"),
    }
    try:
        with context.pacing(PASSES, context.network, actions.UnknownPass), context.writing() as db:
            who, token = actions.join(db, values["pass"], values["name"], context.now, sure=_sure(posted))
            actions.sign_out(db, context.token, context.now)
    except TooFast:
        raise
    except Problem as problem:
        errors = problem.errors or {"pass": problem.detail}
        return context.page("crew/join.html", problem.status, values=values, errors=errors)
    return signed_in(context, token, "/me?new=1" if who.role == Role.LEAD else values["next"])


@router.post("/sign-out")
def sign_out(context: AnyoneContext, posted: Posted) -> Response:
    """End this browser's sign-in; `clear` comes from a phone whose outbox is empty: nothing of ours stays on it."""
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
    """One's own page: name, role, passphrase, the devices that one is signed in on, sign out."""
    with context.reading() as db:
        called = f"You are called {context.me.display_name} now." if named else ""
        return _me(context, db, new=new, saved="Signed out there." if ended else called)


@router.post("/me/name")
def rename(context: ViewerContext, posted: Posted) -> Response:
    """Take another name."""
    typed = text(posted, "name")
    try:
        with context.writing() as db:
            actions.rename(db, context.me, typed, context.now, sure=_sure(posted))
    except Invalid as refusal:
        with context.reading() as db:
            return _me(context, db, refusal.status, name=typed, errors=refusal.errors)
    return RedirectResponse("/me?named=1", 303)


@router.post("/me/address")
def keep_address(context: ViewerContext, posted: Posted) -> Response:
    """Say where mail goes, or that none shall come."""
    typed = text(posted, "address")
    try:
        with context.writing() as db:
            actions.keep_address(db, context.me, typed, context.now)
    except Invalid as refusal:
        with context.reading() as db:
            return _me(context, db, refusal.status, address=typed, errors=refusal.errors)
    with context.reading() as db:
        return _me(context, db, saved="Address kept." if typed.strip() else "Forgotten: no mail comes any more.")


@router.post("/me/passphrase")
def set_passphrase(context: LeadContext, posted: Posted) -> Response:
    """Give oneself a passphrase."""
    try:
        context.pace(BY_NAME, context.session)
        with context.writing() as db:
            actions.set_passphrase(
                db,
                context.me,
                text(posted, "passphrase"),
                context.program.name,
                context.now,
                current=text(posted, "current"),
                token=context.token,
            )
    except Invalid as refusal:
        with context.reading() as db:
            return _me(context, db, refusal.status, errors=refusal.errors)
    with context.reading() as db:
        return _me(context, db, saved="Passphrase kept.")


@router.get("/settings")
def settings_page(context: LeadContext) -> Response:
    """The program's own settings."""
    with context.reading():
        program = context.program
        values = {"name": program.name, "zone": program.zone, "unit": program.unit, "return_note": program.return_note}
        return _settings(context, values)


@router.post("/settings")
def save_settings(context: LeadContext, posted: Posted) -> Response:
    """Keep the program's settings."""
    values = {name: " ".join(text(posted, name).split()) for name in ("name", "zone", "unit", "return_note")}
    try:
        with context.writing() as db:
            _check_settings(values)
            actions.keep_settings(db, values)
            queries.note_in_audit(db, context.now, context.me.id, "settings.saved", values["name"], values)
    except Invalid as refusal:
        return _settings(context, values, refusal.status, errors=refusal.errors)
    return RedirectResponse("/settings?saved=1", 303)


def _me(
    context: RequestContext,
    db: Session,
    status: int = 200,
    *,
    new: bool = False,
    saved: str = "",
    name: str | None = None,
    address: str | None = None,
    errors: dict[str, str] | None = None,
) -> Response:
    return context.page(
        "crew/me.html",
        status,
        errors=errors or {},
        new=new,
        saved=saved,
        mails=context.settings.mail is not None,
        name=context.me.display_name if name is None else name,
        has_passphrase=queries.has_passphrase(db, context.me.id),
        address=queries.address_of(db, context.me.id) if address is None else address,
        devices=devices_of(db, context.me.id, context.session, context.now),
    )


def _settings(
    context: RequestContext, values: dict[str, str], status: int = 200, errors: dict[str, str] | None = None
) -> Response:
    zones = sorted(zone for zone in available_timezones() if "/" in zone or zone == "UTC")
    saved = context.request.query_params.get("saved") == "1"
    return context.page(
        "crew/settings.html",
        status,
        values=values,
        errors=errors or {},
        zones=zones,
        saved=saved,
        base_url=context.settings.base_url,
    )


def _check_settings(values: dict[str, str]) -> None:
    if not 1 <= len(values["name"]) <= 60:
        raise invalid("name", "Enter the program's name, 60 characters at the most.")
    if values["zone"] not in available_timezones():
        raise invalid("zone", f"“{values['zone']}” is no time zone; write it like America/Chicago.")
    if values["unit"] not in list(Unit):
        raise invalid("unit", "Lengths are shown in feet or in meters; choose one.")
    if len(values["return_note"]) > 200:
        raise invalid("return_note", "The note to a finder may have 200 characters at the most.")


def _sure(posted: FormData) -> bool:
    """Whether the name was sent before, and asked about: it is meant so."""
    return text(posted, "name") != "" and text(posted, "sure") == text(posted, "name")


def join_link(context: RequestContext, secret: str, then: str = "") -> str:
    """The address that a pass's QR holds, going on to `then`. The secret is in the fragment, so it reaches no log."""
    return f"{context.base}/join{f'?next={then}' if then else ''}#{secret}"


def signed_in(context: RequestContext, token: str, target: str) -> Response:
    """On to `target`, with the sign-in's cookie."""
    response = RedirectResponse(target, 303)
    response.set_cookie(
        cookie_name(context.settings.secure),
        token,
        path="/",
        httponly=True,
        samesite="lax",
        secure=context.settings.secure,
        max_age=COOKIE_LASTS,
    )
    return response


def inside(target: str) -> str:
    """A path of ours to go on to; anything that would lead elsewhere is Now."""
    fine = target.startswith("/") and not target.startswith("//") and "\\" not in target and target.isprintable()
    return target if fine else "/"


def text(posted: FormData, name: str) -> str:
    """A form's field as text, empty where it was not sent."""
    value = posted.get(name)
    return value if isinstance(value, str) else ""
