"""Pages that find a tag: by photo, by the live camera, by its typed code. All lead to the same address."""

from dataclasses import replace

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.counts.queries import is_count
from service.crew.context import AnyoneContext, CrewContext, RequestContext, page_router
from service.crew.core import Role
from service.gear.core import item_title
from service.home.scan.core import Errand, read_errand
from service.kit.codes import code_in_url, nearest, read_code
from service.kit.problems import Invalid, NotFound, Problem, invalid
from service.kit.quantities import Unit
from service.retire.lists.actions import open_list
from service.tags.photo import read_photo
from service.tags.queries import codes_now, tag_on, to_draw
from service.web.forms import Form
from service.web.limits import PHOTOS
from service.web.upload import Upload, Uploaded

router = page_router()

SHOWN = 300
"""How many characters of a foreign QR code are shown."""


@router.get("/find")
def find(context: AnyoneContext, code: str = "") -> Response:
    """Redirect to the page of a code. For an impossible code an error is shown, and similar existing codes."""
    errand = read_errand(context.request.query_params)
    with context.reading() as db:
        if errand.session and is_count(db, errand.session):
            errand = replace(errand, counting=True)
        try:
            read = code_in_url(code) or read_code(code)
            tag = tag_on(db, read) if context.who is not None else None
        except (Invalid, NotFound) as problem:
            return _not_found(context, db, code, errand, problem)
    if tag is None:  # a stranger, who is told where to bring it
        return RedirectResponse(f"/t/{read}", 303)
    live_place = tag.place_id if tag.until is None else None
    return RedirectResponse(errand.at_place(live_place) if live_place else errand.target(read), 303)


@router.get("/scan")
def scan_page(context: CrewContext) -> Response:
    """Show the page for taking a photo of a tag, pointing the camera at it, or typing its code."""
    errand = read_errand(context.request.query_params)
    with context.reading() as db:
        worked = None if errand.carried else open_list(db, context.now)
        return context.page("home/scan.html", form=Form(), errand=errand, strange=(), ours=(), worked=worked)


@router.post("/scan")
def scan_photo(context: CrewContext, sent: Uploaded) -> Response:
    """Read the tag in a photo; the photo is not stored."""
    errand = read_errand(sent.fields)
    with context.reading():
        pass  # only crew may have photos read
    context.pace(PHOTOS, context.session)
    try:
        texts = _texts(sent)
    except Invalid as refusal:
        form = Form().refused(refusal)
        return context.page("home/scan.html", form=form, errand=errand, strange=(), ours=(), worked=None)
    codes = list(dict.fromkeys(code for text in texts if (code := code_in_url(text))))
    if len(codes) == 1:
        return RedirectResponse(errand.find(codes[0]), 303)
    strange = [_shown(text) for text in texts if code_in_url(text) is None]
    form = Form().wrong({} if codes else {"photo": "This is no tag of this program; it says what stands below."})
    with context.reading() as db:
        ours = _labels(context, db, codes)
        return context.page("home/scan.html", form=form, errand=errand, strange=strange, ours=ours, worked=None)


def _texts(sent: Upload) -> list[str]:
    if not sent.file:
        raise invalid("photo", "Choose a photo to send.")
    texts = read_photo(sent.file)
    if not texts:
        raise invalid(
            "photo",
            "No QR code was found. Go nearer, until the code fills a third of the picture, hold still, and use the "
            "flash where it is dark. Or type the code.",
        )
    return texts


def _labels(context: RequestContext, db: Session, codes: list[str]) -> list[tuple[str, str]]:
    """Each code with the name of its item or place, so that one can be selected."""
    unit, named = Unit(context.program.unit), []
    for code in codes:
        try:
            tag_on(db, code)
        except NotFound:
            named.append((code, "not a tag of this program"))
        else:
            [on] = to_draw(db, [code])
            named.append((code, item_title(on, unit)))
    return named


def _shown(text: str) -> str:
    """A foreign text without unprintable characters, shortened."""
    plain = "".join(character if character.isprintable() else " " for character in text)
    return plain if len(plain) <= SHOWN else plain[:SHOWN] + "…"


def _not_found(context: RequestContext, db: Session, code: str, errand: Errand, problem: Problem) -> Response:
    near = nearest(code, codes_now(db)) if context.who and context.who.role is Role.LEAD else []
    form = Form(values={"code": code}).wrong({"code": problem.detail}, problem.status)
    return context.page("home/find.html", form=form, near=near, errand=errand)
