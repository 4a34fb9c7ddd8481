"""Pages for making a season like another one: as long, with the same rounds, for the same items."""

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, page_router
from service.home.seasons import actions
from service.home.seasons.queries import is_name_taken
from service.season.core import a_year_later
from service.season.forms import next_name, read_copy
from service.season.models import SeasonRow
from service.season.queries import get_season
from service.testlog.housekeeping import ensure_today
from service.web.forms import Form, Posted, typed

router = page_router()


@router.get("/season/{season_id}/copy")
def copy_page(context: LeadContext, season_id: str) -> Response:
    """Show the form for the start of the new season. It proposes the same day of the week a year later, and a name if
    the old one has a year.
    """
    with context.reading() as db:
        row = get_season(db, season_id)
        starts = a_year_later(row.starts)
        name = next_name(row.name, starts.year - row.starts.year)
        values = {"name": "" if is_name_taken(db, name) else name, "starts": str(starts)}
        return _page(context, row, Form(values=values))


@router.post("/season/{season_id}/copy")
def copy_season(context: LeadContext, season_id: str, posted: Posted) -> Response:
    """Make the copy."""
    form = typed(posted, "name", "starts")

    def copy() -> str:
        name, starts = read_copy(posted)
        op = form.id

        def make(db: Session) -> str:
            return actions.copy(db, context.actor, op, get_season(db, season_id), name, starts)

        made = context.once(op, "season.copy", [season_id, form.values], make)
        ensure_today(context)
        return f"/season/{made}"

    return context.submit(form, copy, lambda db, form: _page(context, get_season(db, season_id), form))


def _page(context: RequestContext, row: SeasonRow, form: Form) -> Response:
    return context.page("home/season_copy.html", form=form, row=row)
