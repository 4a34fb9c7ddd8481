"""Making a season like another one: as long, with the same rounds, for the same items."""

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from service.crew.context import LeadContext, RequestContext
from service.home.seasons import actions
from service.home.seasons.queries import taken
from service.kit.problems import Invalid
from service.season.core import a_year_later
from service.season.forms import next_name, read_copy
from service.season.queries import get_season
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)


@router.get("/season/{season_id}/copy")
def copy_page(context: LeadContext, season_id: str) -> Response:
    """Say when the new one begins; proposed is the same day of the week a year on, and a name where it has a year."""
    with context.reading() as db:
        row = get_season(db, season_id)
        starts = a_year_later(row.starts)
        name = next_name(row.name, starts.year - row.starts.year)
        values = {"name": "" if taken(db, name) else name, "starts": str(starts)}
    return _page(context, season_id, values)


@router.post("/season/{season_id}/copy")
def copy_season(context: LeadContext, season_id: str, posted: Posted) -> Response:
    """Make it."""
    values = {field: str(posted.get(field) or "") for field in ("name", "starts")}
    try:
        name, starts = read_copy(posted)
        op = read_op(posted.get("op"))
        made = context.once(
            op,
            "season.copy",
            [season_id, values],
            lambda db: actions.copy(db, context, op, get_season(db, season_id), name, starts),
        )
    except Invalid as refusal:
        return _page(context, season_id, values, refusal.status, refusal.errors)
    return RedirectResponse(f"/season/{made}", 303)


def _page(
    context: RequestContext,
    season_id: str,
    values: dict[str, str],
    status: int = 200,
    errors: dict[str, str] | None = None,
) -> Response:
    with context.reading() as db:
        row = get_season(db, season_id)
        return context.page("home/season_copy.html", status, row=row, values=values, errors=errors or {}, op=new_op())
