"""Pages of line checks: the wall of keys, what is to blame for what is dead, and what to try first."""

from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, RequestContext, page_router
from service.kit.problems import NotFound
from service.kit.quantities import Unit
from service.kit.text import as_id, id_in_address
from service.lines.checks import actions, queries
from service.lines.checks.actions import CheckState, state_of
from service.lines.checks.core.components import CauseKind, CheckedChannel, NewCause, components_of
from service.lines.checks.core.judging import alone, is_dead
from service.lines.checks.core.lessons import commonest, usual_seconds
from service.lines.checks.core.listening import NewHeard
from service.lines.checks.core.tracing import next_thing, traced_parts
from service.lines.checks.forms import MOST_MINUTES, CauseFields, HeardFields, StartFields, evidence_options
from service.web.forms import Form, Message, Posted, read_form, read_op, typed

router = page_router()

UNKNOWN = CauseKind.UNKNOWN.value
_NO_CHANNEL = "This channel is not on the input list of this line check. Open the wall again."


@router.get("/line-checks")
def list_checks(context: CrewContext) -> Response:
    """Show the latest line checks, and the form that starts one."""
    with context.reading() as db:
        return _list(context, db, Form(values={"minutes": "3"}))


@router.post("/line-checks")
def start(context: CrewContext, posted: Posted) -> Response:
    """Start a line check of an input list."""
    form = typed(posted, "input_list", "minutes")

    def do() -> str:
        op, fields = form.id, read_form(StartFields, posted)
        window_s = max(1, round(fields.minutes * 60))
        context.once(
            op,
            "line_check.start",
            [str(fields.input_list), window_s],
            lambda db: str(actions.start_check(db, op, fields.input_list, window_s, context.actor).id),
        )
        return f"/line-checks/{op}"

    return context.submit(form, do, lambda db, form: _list(context, db, form))


@router.get("/line-checks/lessons")
def lessons_page(context: CrewContext) -> Response:
    """Show how long each line check took, what was dead in it, and the commonest causes."""
    with context.reading() as db:
        lessons = queries.lessons(db)
        return context.page(
            "lines/checks/lessons.html",
            lessons=lessons,
            lists=queries.list_names(db),
            commonest=commonest(lessons),
            usual=usual_seconds(lessons),
            most=max((lesson.seconds or 0 for lesson in lessons), default=0),
        )


@router.get("/line-checks/{check_id}")
def wall(context: CrewContext, check_id: str, text: Message = "") -> Response:
    """Show the channels as keys: one tap is good, one more is dead."""
    with context.reading() as db:
        return _wall(context, db, check_id, Form(), text)


@router.post("/line-checks/{check_id}/heard")
def add_heard(context: CrewContext, check_id: str, posted: Posted) -> Response:
    """Log what was heard, without script or by the longer way where channels are crossed."""
    form = typed(posted, "channel", "heard", "sounds_as")

    def add() -> str:
        op, fields, check = form.id, read_form(HeardFields, posted), _id(check_id)
        new = NewHeard(op, check, fields.channel, fields.heard, fields.sounds_as)
        content = [str(check), fields.model_dump(mode="json")]
        context.once(op, "line.heard_by_form", content, lambda db: actions.log_heard(db, new, context.actor))
        return f"/line-checks/{check}"

    return context.submit(form, add, lambda db, form: _wall(context, db, check_id, form))


@router.post("/line-checks/{check_id}/end")
def end(context: CrewContext, check_id: str, posted: Posted) -> Response:
    """End a line check; the wall stays to be read."""
    op, check = read_op(posted.get("op")), _id(check_id)
    context.once(op, "line_check.end", str(check), lambda db: actions.end_check(db, check, context.actor))
    return RedirectResponse(f"/line-checks/{check}", 303)


@router.get("/line-checks/{check_id}/blame")
def blame_page(context: CrewContext, check_id: str) -> Response:
    """Show what is probably bad, how probably, and where the figures are from."""
    with context.reading() as db:
        state = _state(context, db, check_id)
        return context.page(
            "lines/checks/blame.html",
            check=state.check,
            judged=state.judged(),
            dead=[channel for channel in state.channels if is_dead(channel, state.standing)],
            left=state.left,
        )


@router.get("/line-checks/{check_id}/channels/{channel_id}")
def trace_page(context: CrewContext, check_id: str, channel_id: str, out: str = "") -> Response:
    """Show the next thing to try on a dead channel. `out` has the numbers of the parts that are no suspects."""
    with context.reading() as db:
        return _trace(context, db, check_id, channel_id, out, Form())


@router.post("/line-checks/{check_id}/channels/{channel_id}/cause")
def log_cause(context: CrewContext, check_id: str, channel_id: str, posted: Posted) -> Response:
    """Log what it was. From an item it goes on to swapping it."""
    form = typed(posted, "what", "evidence", "end", "note", "out")

    def log() -> str:
        op, fields, check, channel = form.id, read_form(CauseFields, posted), _id(check_id), _channel_id(channel_id)
        new = NewCause(op, check, channel, fields.what, fields.evidence, fields.end, fields.note)
        content = [str(check), str(channel), fields.model_dump(mode="json")]
        receipt = context.once(op, "line.cause_by_form", content, lambda db: actions.log_cause(db, new, context.actor))
        bad = next(iter(receipt["stands"]), None)
        return f"/swap?bad={bad}" if bad else f"/line-checks/{check}?said=logged"

    return context.submit(
        form, log, lambda db, form: _trace(context, db, check_id, channel_id, form.values["out"], form)
    )


def _id(check_id: str) -> UUID:
    key = as_id(check_id)
    if key is None:
        raise NotFound("There is no such line check. Look at the list of line checks.")
    return key


def _state(context: RequestContext, db: Session, check_id: str) -> CheckState:
    return state_of(db, queries.get_check(db, as_id(check_id)), Unit(context.program.unit), context.actor)


def _channel_id(channel_id: str) -> UUID:
    return id_in_address(channel_id, _NO_CHANNEL)


def _channel(state: CheckState, channel_id: str) -> CheckedChannel:
    key = _channel_id(channel_id)
    for channel in state.channels:
        if channel.id == key:
            return channel
    raise NotFound(_NO_CHANNEL)


def _list(context: RequestContext, db: Session, form: Form) -> Response:
    return context.page(
        "lines/checks/list.html",
        form=form,
        lists=queries.list_names(db),
        checks=queries.latest_checks(db),
        most=MOST_MINUTES,
    )


def _wall(context: RequestContext, db: Session, check_id: str, form: Form, text: str = "") -> Response:
    state = _state(context, db, check_id)
    names, judged = queries.list_names(db), state.judged()
    first = judged.blamed[0].channels[0] if judged.blamed else None
    return context.page(
        "lines/checks/wall.html",
        form=form,
        state=state,
        judged=judged,
        first=next((channel for channel in state.channels if channel.number == first), None),
        check=state.check,
        name=names[state.check.input_list_id],
        numbers={channel.id: channel.number for channel in state.channels},
        keys=[(channel.id, channel.title) for channel in state.channels],
        text=text,
    )


def _trace(context: RequestContext, db: Session, check_id: str, channel_id: str, out: str, form: Form) -> Response:
    state = _state(context, db, check_id)
    channel = _channel(state, channel_id)
    dead = is_dead(channel, state.standing)
    components = components_of(channel, state.experience)
    thing = None
    if dead:
        weights = alone(channel, state.channels, state.standing, state.experience)
        parts, cleared = traced_parts(channel, components, weights), set(out.split("."))
        off = {part.number for part in parts if str(part.number) in cleared}
        thing = next_thing(channel, parts, off, sum(is_dead(one, state.standing) for one in state.channels))
    return context.page(
        "lines/checks/trace.html",
        form=form,
        check=state.check,
        channel=channel,
        thing=thing,
        out=out,
        options=[*((part.key, part.name) for part in components), (UNKNOWN, "nobody knows")],
        evidence=evidence_options(),
        facts={
            "check": str(check_id),
            "channel": str(channel.id),
            "title": channel.title,
            "codes": {part.key: part.code for part in components if part.code},
        },
    )
