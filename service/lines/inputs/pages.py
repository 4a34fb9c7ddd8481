"""Pages of input lists: the list as it is or was, a channel with its line, and a list for another season."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from urllib.parse import urlencode
from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.gear.queries import item_namer, places
from service.kit.dates import midnight, parse_date
from service.kit.problems import Problem
from service.kit.text import as_id
from service.lines.inputs import actions, queries
from service.lines.inputs.core import next_number
from service.lines.inputs.forms import ChannelFields
from service.lines.inputs.models import Channel, InputList
from service.lines.inputs.shown import shown
from service.lines.inputs.testing import halves, test_of
from service.season import queries as seasons
from service.season.models import Event, SeasonRow
from service.sessions.code_input import read_codes
from service.web.forms import Form, Posted, read_form, read_op, typed

router = page_router()

LABELS = {"number": "Channel", "source": "Source", "microphone": "Microphone", "place": "It stands at"}


@router.get("/inputs")
def find_list(context: ViewerContext, season: str = "", event: str = "") -> Response:
    """Go to the input list of a season or an event, by default that of the present season; or offer to make one."""
    with context.reading() as db:
        of = _season_or_event(context, db, season, event)
        if of is None:
            return context.page("home/no_season.html")
        input_list = (
            queries.input_list_for(db, of) if isinstance(of, Event) else queries.input_list_of_season(db, of.id)
        )
        if input_list is not None:
            return RedirectResponse(f"/inputs/{input_list.id}", 303)
        return _offer(context, db, of, Form())


@router.post("/inputs")
def make_list(context: LeadContext, posted: Posted) -> Response:
    """Make the input list of a season or an event, empty or with the channels of another one."""
    form = typed(posted, "season", "event", "copy_of")

    def make() -> str:
        op, values = form.id, form.values
        context.once(op, "input_list.make", values, lambda db: _make(context, db, op, form))
        return f"/inputs/{op}"

    def again(db: Session, form: Form) -> Response:
        of = _season_or_event(context, db, form.values["season"], form.values["event"])
        return context.page("home/no_season.html") if of is None else _offer(context, db, of, form)

    return context.submit(form, make, again, conflict="copy_of")


def _make(context: RequestContext, db: Session, list_id: UUID, form: Form) -> None:
    of = _season_or_event(context, db, form.values["season"], form.values["event"])
    if of is None:
        raise Problem("There is no season yet. Make one first.")
    source = as_id(form.values["copy_of"])
    if source is None:
        actions.make_list(db, list_id, of, context.actor)
    else:
        actions.copy_list(db, list_id, of, source, context.actor)


@router.get("/inputs/{list_id}")
def show_list(context: ViewerContext, list_id: str, on: str = "") -> Response:
    """Show the channels of a list: as they are, or as they were at the end of a day."""
    with context.reading() as db:
        input_list = queries.get_input_list(db, as_id(list_id))
        form = Form(values={"on": on})
        at = context.now
        try:
            at = min(context.now, midnight(parse_date(on, "on") + timedelta(days=1), context.zone)) if on else at
        except Problem as refusal:
            form = form.refused(refusal)
        return _list(context, db, input_list, form, at)


@router.get("/inputs/{list_id}/channels/new")
def new_channel(context: LeadContext, list_id: str) -> Response:
    """Show the form for one more channel."""
    with context.reading() as db:
        input_list = queries.get_input_list(db, as_id(list_id))
        number = next_number([each.number for each in queries.channels(db, input_list.id, context.now)])
        return _new_channel(context, db, input_list, Form(values={"number": number}))


@router.post("/inputs/{list_id}/channels/new")
def add_channel(context: LeadContext, list_id: str, posted: Posted) -> Response:
    """Add a channel; its line follows on its own page."""
    form = typed(posted, *LABELS, "phantom")

    def add() -> str:
        op, entry = form.id, read_form(ChannelFields, posted).entry()
        with context.reading() as db:
            input_list = queries.get_input_list(db, as_id(list_id)).id
        content = [str(input_list), asdict(entry)]
        context.once(
            op, "channel.add", content, lambda db: actions.add_channel(db, op, input_list, entry, context.actor)
        )
        return f"/channels/{op}"

    def again(db: Session, form: Form) -> Response:
        return _new_channel(context, db, queries.get_input_list(db, as_id(list_id)), form)

    return context.submit(form, add, again)


@router.get("/channels/{channel_id}")
def show_channel(context: ViewerContext, channel_id: str, items: str = "") -> Response:
    """Show a channel with its line; for leads also the forms to change both. `items` are codes scanned for its line."""
    scanned = Form(values={"items": "\n".join(read_codes(items))} if items else {})
    with context.reading() as db:
        return _channel(context, db, queries.get_channel(db, as_id(channel_id)), Form(), scanned)


@router.post("/channels/{channel_id}")
def change_channel(context: LeadContext, channel_id: str, posted: Posted) -> Response:
    """Change what a channel is."""
    form = typed(posted, *LABELS, "phantom")

    def change() -> str:
        entry, channel = read_form(ChannelFields, posted).entry(), _id(context, channel_id)
        content = [str(channel), asdict(entry)]
        context.once(
            form.id, "channel.change", content, lambda db: actions.change_channel(db, channel, entry, context.actor)
        )
        return f"/channels/{channel}"

    return context.submit(
        form, change, lambda db, form: _channel(context, db, queries.get_channel(db, as_id(channel_id)), form, Form())
    )


@router.post("/channels/{channel_id}/line")
def lay_line(context: LeadContext, channel_id: str, posted: Posted) -> Response:
    """Lay the line of a channel through the items that were scanned or typed, in their order."""
    form = typed(posted, "items", "lane")

    def lay() -> str:
        channel, codes, lane = _id(context, channel_id), read_codes(form.values["items"]), form.values["lane"]
        content = [str(channel), list(codes), lane]
        context.once(form.id, "line.lay", content, lambda db: actions.set_line(db, channel, codes, lane, context.actor))
        return f"/channels/{channel}"

    return context.submit(
        form, lay, lambda db, form: _channel(context, db, queries.get_channel(db, as_id(channel_id)), Form(), form)
    )


@router.post("/channels/{channel_id}/joints")
def set_joints(context: LeadContext, channel_id: str, posted: Posted) -> Response:
    """Say which joints of the line stay plugged."""
    op, channel, stays = read_op(posted.get("op")), _id(context, channel_id), _ticked(posted)
    content = [str(channel), stays]
    context.once(op, "line.joints", content, lambda db: actions.set_joints(db, channel, stays, context.actor))
    return RedirectResponse(f"/channels/{channel}", 303)


@router.post("/channels/{channel_id}/end")
def end_channel(context: LeadContext, channel_id: str, posted: Posted) -> Response:
    """Take a channel off its list."""
    op, channel = read_op(posted.get("op")), as_id(channel_id)

    def end(db: Session) -> str:
        return str(actions.end_channel(db, queries.get_channel(db, channel).id, context.actor).input_list_id)

    input_list = context.once(op, "channel.end", channel_id, end)
    return RedirectResponse(f"/inputs/{input_list}", 303)


def _ticked(posted: FormData) -> list[int]:
    """The numbers of the joints that were ticked."""
    return sorted({int(each) for each in posted.getlist("stays") if isinstance(each, str) and each.isdecimal()})


def _id(context: RequestContext, channel_id: str) -> UUID:
    with context.reading() as db:
        return queries.get_channel(db, as_id(channel_id)).id


def _season_or_event(context: RequestContext, db: Session, season: str, event: str) -> SeasonRow | Event | None:
    if event:
        return seasons.get_event(db, event)
    if season:
        return seasons.get_season(db, season)
    return seasons.current(seasons.seasons(db), context.today)


def _offer(context: RequestContext, db: Session, of: SeasonRow | Event, form: Form) -> Response:
    lists = [(each.id, queries.name_of(db, each)) for each in queries.every_input_list(db)]
    return context.page("lines/new_list.html", form=form, of=of, is_event=isinstance(of, Event), lists=lists)


def _list(context: RequestContext, db: Session, input_list: InputList, form: Form, at: datetime) -> Response:
    of = queries.season_or_event(db, input_list)
    is_now = at == context.now
    rows = shown(db, queries.channels(db, input_list.id, at))
    return context.page(
        "lines/list.html",
        form=form,
        input_list=input_list,
        of=of,
        is_event=isinstance(of, Event),
        rows=rows,
        is_now=is_now,
        wrong=[row for row in rows if not row.is_good] if is_now else [],
        name=item_namer(context.program),
    )


def _new_channel(context: RequestContext, db: Session, input_list: InputList, form: Form) -> Response:
    return context.page(
        "lines/new_channel.html",
        form=form,
        input_list=input_list,
        of=queries.season_or_event(db, input_list),
        labels=LABELS,
        places=_names(db),
    )


def _channel(context: RequestContext, db: Session, channel: Channel, form: Form, line_form: Form) -> Response:
    input_list = queries.get_input_list(db, channel.input_list_id)
    (row,) = shown(db, [each for each in queries.channels(db, input_list.id, context.now) if each.id == channel.id])
    now = row.channel
    form = form.starting_with(
        {
            "number": now.number,
            "source": now.source,
            "microphone": now.microphone,
            "phantom": "yes" if now.phantom else "",
            "place": now.place,
        }
        if not form.errors
        else {}
    )
    lane = next((step.lane for step in row.steps if step.lane), "")
    laid = [step.code for step in row.steps]
    line_form = line_form.starting_with({"items": "\n".join(laid), "lane": lane})
    codes = read_codes(line_form.values["items"])
    scanned = () if list(codes) == laid else codes
    return context.page(
        "lines/channel.html",
        status=form.status if form.errors else line_form.status,
        form=form,
        line_form=line_form,
        row=row,
        scanned=scanned,
        scan_next="/scan?" + urlencode({"line_for": channel.id} | ({"line": " ".join(scanned)} if scanned else {})),
        halves=halves(row.steps),
        test_of=test_of,
        input_list=input_list,
        of=queries.season_or_event(db, input_list),
        labels=LABELS,
        places=_names(db),
        name=item_namer(context.program),
    )


def _names(db: Session) -> Sequence[str]:
    return [place.name for place in places(db)]
