"""Pages of set-up drills: the wall of stations as a stopwatch, and what a season's drills measured."""

from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, RequestContext, page_router
from service.kit.dates import local_date
from service.kit.problems import NotFound
from service.kit.text import as_id
from service.lines.checks.forms import MOST_MINUTES, StartFields
from service.lines.checks.queries import list_names
from service.lines.drills import actions, queries
from service.lines.drills.chart import draw
from service.lines.drills.core import NewDone, record
from service.lines.drills.forms import DoneFields
from service.web.forms import Form, Posted, read_form, read_op, typed

router = page_router()


@router.get("/drills")
def season_page(context: CrewContext, season: str = "") -> Response:
    """Show what the drills of a season measured, of the latest one with drills unless another is named, and the form
    that starts one.
    """
    with context.reading() as db:
        return _season(context, db, Form(values={"minutes": "3"}), season)


@router.post("/drills")
def start(context: CrewContext, posted: Posted) -> Response:
    """Start a drill of an input list."""
    form = typed(posted, "input_list", "minutes")

    def do() -> str:
        op, fields = form.id, read_form(StartFields, posted)
        window_s = max(1, round(fields.minutes * 60))

        def do_start(db: Session) -> str:
            program = context.program
            return str(actions.start_drill(db, op, fields.input_list, window_s, program, context.actor).id)

        context.once(op, "drill.start", [str(fields.input_list), window_s], do_start)
        return f"/drills/{op}"

    return context.submit(form, do, lambda db, form: _season(context, db, form))


@router.get("/drills/{drill_id}")
def wall(context: CrewContext, drill_id: str) -> Response:
    """Show the stations as keys, with their plugs below: one tap is done, one more takes it back."""
    with context.reading() as db:
        return _wall(context, db, drill_id, Form())


@router.post("/drills/{drill_id}/done")
def add_done(context: CrewContext, drill_id: str, posted: Posted) -> Response:
    """Log that a station or a plug is done, without script."""
    form = typed(posted, "station", "plug", "done")

    def add() -> str:
        op, fields, drill = form.id, read_form(DoneFields, posted), _id(drill_id)
        new = NewDone(op, drill, fields.station, fields.plug, fields.done)
        content = [str(drill), fields.model_dump(mode="json")]
        context.once(op, "drill.done_by_form", content, lambda db: actions.log_done(db, new, context.actor))
        return f"/drills/{drill}"

    return context.submit(form, add, lambda db, form: _wall(context, db, drill_id, form))


@router.post("/drills/{drill_id}/end")
def end(context: CrewContext, drill_id: str, posted: Posted) -> Response:
    """End a drill; its wall stays to be read."""
    op, drill = read_op(posted.get("op")), _id(drill_id)
    context.once(op, "drill.end", str(drill), lambda db: actions.end_drill(db, drill, context.actor))
    return RedirectResponse(f"/drills/{drill}", 303)


def _id(drill_id: str) -> UUID:
    key = as_id(drill_id)
    if key is None:
        raise NotFound("There is no such set-up drill. Look at the list of drills.")
    return key


def _season(context: RequestContext, db: Session, form: Form, season: str = "") -> Response:
    seasons = queries.seasons_with_drills(db)
    chosen = next((each for each in seasons if str(each.id) == season), seasons[0] if seasons else None)
    drills = queries.drills(db, chosen.id) if chosen else []
    whole = [drill for drill in drills if drill.times.seconds is not None]
    seconds = [drill.times.seconds for drill in drills if drill.times.seconds is not None]
    return context.page(
        "lines/drills/season.html",
        form=form,
        lists=list_names(db),
        most=MOST_MINUTES,
        seasons=seasons,
        chosen=chosen,
        drills=drills,
        whole=whole,
        record=record([drill.times for drill in drills]),
        picture=draw(seconds, whole[-1].check.window_s) if whole else None,
        days=[local_date(drill.check.started_at, context.actor.zone) for drill in whole],
    )


def _wall(context: RequestContext, db: Session, drill_id: str, form: Form) -> Response:
    drill = queries.get_drill(db, as_id(drill_id))
    return context.page(
        "lines/drills/wall.html",
        form=form,
        drill=drill,
        name=list_names(db)[drill.input_list_id],
        times=queries.times_of(db, drill),
        now=context.now,
    )
