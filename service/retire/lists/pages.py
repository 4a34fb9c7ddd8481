"""The pages of the pull list: the list to walk with, one item with its tick, CSV, and the print."""

from collections.abc import Mapping
from itertools import groupby
from urllib.parse import urlencode
from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, LeadContext, RequestContext, ViewerContext, page_router
from service.crew.core import Role
from service.gear.queries import item_facts, item_namer
from service.gear.wirings import wiring_name
from service.kit.problems import invalid
from service.kit.quantities import Unit
from service.retire.decisions.actions import overrule
from service.retire.decisions.forms import DAY, read_lead_decision
from service.retire.decisions.queries import comparison_as_it_is, lead_decisions
from service.retire.lists import actions, csv_export, queries
from service.retire.lists.csv_export import ACTION_WORDS, as_csv, csv_file
from service.retire.lists.ticking import NewTick, read_action, read_reasons, take_back, tick
from service.season.models import Event
from service.season.queries import get_event
from service.sessions.code_input import read_codes
from service.tags.core.symbols import CannotPrint, tag_url
from service.tags.queries import code_of, item_with
from service.testlog.housekeeping import ensure_today
from service.web.forms import Form, Posted, read_op, text, typed

router = page_router()


@router.get("/pull")
def next_pull_list(context: ViewerContext, item: str = "") -> Response:
    """Redirect to the pull list of the next event, or to the row of an item (by its code) on it."""
    with context.reading() as db:
        event = actions.event_for(db, None, context.today)
        if event is None:
            return context.page("retire/no_event.html")
        row = f"/items/{item_with(db, item, ended=True).id}" if item else ""
    return RedirectResponse(f"/pull/{event.id}{row}", 303)


@router.get("/pull/{event_id}")
def pull_list(context: ViewerContext, event_id: str, done: str = "") -> Response:
    """What to pull before an event, place by place in walking order."""
    ensure_today(context)
    with context.reading() as db:
        event = get_event(db, event_id)
        pull = actions.pull_list(db, event, context.today, context.zone)
        name = item_namer(context.program)
        return context.page(
            "retire/pull.html",
            event=event,
            pull=pull,
            words=ACTION_WORDS,
            name=name,
            acts=context.me.role.reaches(Role.CREW),
            leads=context.me.role.reaches(Role.LEAD),
            told=done[:6],
            since=queries.since_print(db, pull, name),
            wirings={sort.wiring: wiring_name(db, sort.wiring) for sort in pull.shopping},
        )


@router.get("/pull/{event_id}/list.csv")
def pull_csv(context: ViewerContext, event_id: str) -> Response:
    """The list for a spreadsheet."""
    ensure_today(context)
    with context.reading() as db:
        pull = actions.pull_list(db, get_event(db, event_id), context.today, context.zone)
        text = as_csv(db, pull, Unit(context.program.unit))
    return csv_file(text, f"pull-list-{pull.event.on}.csv")


@router.get("/pull/{event_id}/find")
def find_row(context: ViewerContext, event_id: str, code: str = "") -> Response:
    """Redirect to the row of a typed code."""
    with context.reading() as db:
        event = get_event(db, event_id)
        codes = read_codes(code)
        if len(codes) == 1:
            return RedirectResponse(f"/pull/{event.id}/items/{item_with(db, codes[0], ended=True).id}", 303)
    raise invalid("code", "Type one code: the six characters on the tag.")


@router.get("/pull/{event_id}/items/{named}")
def row_page(context: ViewerContext, event_id: str, named: str) -> Response:
    """One row, by the id of its item or the code of its tag: why, the spare, the tick, a lead's decision."""
    ensure_today(context)
    with context.reading() as db:
        return _row(context, db, get_event(db, event_id), _item_id(db, named), Form())


@router.post("/pull/{event_id}/ticks")
def tick_row(context: CrewContext, event_id: str, posted: Posted) -> Response:
    """Tick a row as done. What speaks against it is shown first, and can be confirmed."""
    code = text(posted, "item")
    form = typed(posted, "spare", "other", "action", "none")
    ensure_today(context)
    with context.reading() as db:
        event = get_event(db, event_id)
        item_id = item_with(db, code, ended=True).id

    def do() -> str:
        new = NewTick(
            form.id,
            str(event.id),
            code,
            read_action(form.values["action"]),
            _spare(form.values),
            read_reasons(posted.getlist("why")),
            anyway=posted.get("anyway") == "yes",
        )
        content = [str(event.id), code, form.values, new.anyway]
        context.once(new.id, "pull.tick.form", content, lambda db: tick(db, new, context.actor))
        return f"/pull/{event.id}?{urlencode({'done': code})}#i-{code}"

    return context.submit(form, do, lambda db, form: _row(context, db, event, item_id, form), conflict="spare")


@router.post("/pull/{event_id}/ticks/{tick_id}/undo")
def untick(context: CrewContext, event_id: str, tick_id: UUID, posted: Posted) -> Response:
    """Undo a tick: the gear goes back to where it was."""
    op = read_op(posted.get("op"))
    with context.reading() as db:
        event = get_event(db, event_id)
    context.once(
        op,
        "pull.untick",
        [str(event.id), str(tick_id)],
        lambda db: take_back(db, event.id, tick_id, context.actor),
    )
    return RedirectResponse(f"/pull/{event.id}", 303)


@router.post("/pull/{event_id}/items/{named}/overrule")
def overrule_row(context: LeadContext, event_id: str, named: str, posted: Posted) -> Response:
    """Save a lead's decision on an item."""
    form = typed(posted, "action", "reason", "until")
    ensure_today(context)
    with context.reading() as db:
        event, item_id = get_event(db, event_id), _item_id(db, named)

    def keep() -> str:
        decision = read_lead_decision(posted, event.on, context.today)
        context.once(
            form.id,
            "pull.overrule",
            [str(event.id), str(item_id), form.values],
            lambda db: overrule(db, event.id, item_id, decision, context.actor),
        )
        return f"/pull/{event.id}/items/{item_id}"

    return context.submit(form, keep, lambda db, form: _row(context, db, event, item_id, form))


@router.post("/pull/{event_id}/prints")
def print_list(context: CrewContext, event_id: str, posted: Posted) -> Response:
    """Save a print of the list as it is now, and show it."""
    op = read_op(posted.get("op"))
    ensure_today(context)

    def keep(db: Session) -> None:
        pull = actions.pull_list(db, get_event(db, event_id), context.today, context.zone)
        queries.add_print(db, op, pull, item_namer(context.program), context.actor)

    context.once(op, "pull.print", event_id, keep)
    return RedirectResponse(f"/pull/{event_id}/prints/{op}", 303)


@router.get("/pull/{event_id}/prints/{print_id}")
def paper(context: ViewerContext, event_id: str, print_id: UUID) -> Response:
    """A saved print of the list, with a QR code beside each row."""
    with context.reading() as db:
        event = get_event(db, event_id)
        kept = queries.get_print(db, event.id, print_id)
        rows = queries.lines_of(kept)
        symbols = {row.code: csv_export.symbol(_url(context, row.code)) for row in rows if row.code}
        places = [(place, list(here)) for place, here in groupby(rows, key=lambda row: row.place)]
        return context.page(
            "retire/paper.html",
            event=event,
            kept=kept,
            places=places,
            count=len(rows),
            symbols=symbols,
            words=ACTION_WORDS,
        )


def _row(context: RequestContext, db: Session, event: Event, item_id: UUID, form: Form) -> Response:
    """The page of a row with its two forms, the tick and the lead's decision; each shows its own values."""
    pull = actions.pull_list(db, event, context.today, context.zone, also=item_id)
    row = pull.of(item_id)
    if row is not None and row.item.id != item_id and not form.errors:  # it is the spare that goes in
        return RedirectResponse(f"/pull/{event.id}/items/{row.item.id}?goes_in=1", 303)
    item, judged = row.item if row else item_facts(db, [item_id])[item_id], pull.judged_gear
    return context.page(
        "retire/row.html",
        form=form,
        event=event,
        row=row,
        item=item,
        code=code_of(db, item_id),
        words=ACTION_WORDS,
        name=item_namer(context.program),
        said=lead_decisions(db, event.id, item_id),
        if_tested=chance.if_tested if (chance := judged.chances.get(item_id)) else None,
        costs=comparison_as_it_is(
            db, judged.gear[item_id], judged.prices, context.zone, event.on, context.today, judged.limits
        )
        if row and row.done is None
        else None,
        until=max(event.on, context.today) + DAY,
        declines=context.request.query_params.get("declines") == "1",
        acts=context.me.role.reaches(Role.CREW),
        leads=context.me.role.reaches(Role.LEAD),
        goes_in=context.request.query_params.get("goes_in") == "1",
        actions=list(ACTION_WORDS.items()),
    )


def _item_id(db: Session, named: str) -> UUID:
    try:
        item_id = UUID(named)
    except ValueError:
        return item_with(db, named, ended=True).id
    if not item_facts(db, [item_id]):
        raise invalid("item", "There is no such item. Open the list again.")
    return item_id


def _spare(values: Mapping[str, str]) -> str | None:
    """The code of the spare that went in: one that was typed, else the proposed one; None if nothing did."""
    if values["other"]:
        codes = read_codes(values["other"])
        if len(codes) != 1:
            raise invalid("other", "Scan or type one code: six characters.")
        return codes[0]
    return None if values["none"] == "yes" else values["spare"] or None


def _url(context: RequestContext, code: str) -> str:
    try:
        return tag_url(context.settings.base_url, code)
    except CannotPrint:
        return f"{context.request.base_url}t/{code}"
