"""Pages of rigs: the floor plan, each way of wiring it beside the others, and the forms that change it."""

from collections.abc import Callable
from urllib.parse import urlencode
from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.crew.core import Role
from service.kit.problems import NotFound, invalid
from service.kit.quantities import Unit, format_money
from service.kit.text import as_id
from service.lines.drills.queries import observed_setup
from service.rig import actions, forms, queries
from service.rig.chart import draw_prices
from service.rig.drawing import draw
from service.rig.plans import WINDOW_S, ComparedWay, Plan, by_walkers, compare, find_way
from service.web.forms import Form, Posted, read_op, typed

router = page_router()


@router.get("/rigs")
def list_rigs(context: ViewerContext) -> Response:
    """Show the rigs, and the form that makes one."""
    with context.reading() as db:
        return _list(context, db, Form())


@router.post("/rigs")
def make_rig(context: LeadContext, posted: Posted) -> Response:
    """Make a rig, empty or as a copy of another one."""
    form = typed(posted, "name", "copy_of")

    def make() -> str:
        op, name = form.id, forms.read_name(form.values["name"])
        copy_of = as_id(form.values["copy_of"])

        def do(db: Session) -> str:
            return str(actions.make_rig(db, op, name, actions.plan_to_copy(db, copy_of), context.actor).id)

        context.once(op, "rig.make", form.values, do)
        return f"/rigs/{op}"

    return context.submit(form, make, lambda db, form: _list(context, db, form))


@router.get("/rigs/{rig_id}")
def show_rig(context: ViewerContext, rig_id: str, way: str = "", undone: str = "") -> Response:
    """Show the floor plan wired in one way, with all ways side by side."""
    with context.reading() as db:
        plan = _plan(db, rig_id)
    shown = _way(plan, way)
    with context.reading() as db:
        return _rig(context, db, rig_id, shown, undone, Form())


@router.get("/rigs/{rig_id}/walkers")
def price_and_time(context: ViewerContext, rig_id: str) -> Response:
    """Show price against set-up time: for one walker, two and so on the cheapest rig, beside the simple ways."""
    with context.reading() as db:
        rig, plan = queries.get_rig(db, as_id(rig_id)), _plan(db, rig_id)
    simple = [one for one in compare(plan) if one.key in ("straight", "chain")]
    many = by_walkers(plan)
    works = [(one, one.rig) for one in (*many, *simple) if one.rig]
    return context.page(
        "rig/walkers.html",
        rig=rig,
        ways=[*many, *simple],
        chart=draw_prices([(one.key, rig.done.seconds, rig.bill.price) for one, rig in works], WINDOW_S),
        window=WINDOW_S,
        price=format_money,
    )


@router.get("/rigs/{rig_id}/stations")
def station_form(context: LeadContext, rig_id: str, name: str = "") -> Response:
    """Show the form of a station, or of a new one."""
    with context.reading() as db:
        plan, unit = _plan(db, rig_id), _unit(context)
        values = forms.station_values(plan, name, unit)
        return _station(context, db, rig_id, name, Form(values=values))


@router.post("/rigs/{rig_id}/stations")
def set_station(context: LeadContext, rig_id: str, posted: Posted) -> Response:
    """Add a station, or move and change one."""
    form = typed(posted, *forms.STATION, "was")
    was = form.values["was"]
    return _change(
        context,
        rig_id,
        form,
        lambda plan: forms.with_station(plan, was, form.values, _unit(context)),
        lambda db, form: _station(context, db, rig_id, was, form),
    )


@router.post("/rigs/{rig_id}/stations/remove")
def remove_station(context: LeadContext, rig_id: str, posted: Posted) -> Response:
    """Take a station off the plan."""
    form = typed(posted, "name")
    name = form.values["name"]
    return _change(
        context,
        rig_id,
        form,
        lambda plan: forms.without_station(plan, name),
        lambda db, form: _station(context, db, rig_id, name, form),
    )


@router.get("/rigs/{rig_id}/hubs")
def hub_form(context: LeadContext, rig_id: str, name: str = "") -> Response:
    """Show the form of a hub, or of a new one."""
    with context.reading() as db:
        values = forms.hub_values(_plan(db, rig_id), name, _unit(context))
        return _hub(context, db, rig_id, name, Form(values=values))


@router.post("/rigs/{rig_id}/hubs")
def set_hub(context: LeadContext, rig_id: str, posted: Posted) -> Response:
    """Add a hub, or move and change one."""
    form = typed(posted, *forms.HUB, "was")
    was = form.values["was"]
    return _change(
        context,
        rig_id,
        form,
        lambda plan: forms.with_hub(plan, was, form.values, _unit(context)),
        lambda db, form: _hub(context, db, rig_id, was, form),
    )


@router.post("/rigs/{rig_id}/hubs/remove")
def remove_hub(context: LeadContext, rig_id: str, posted: Posted) -> Response:
    """Take a hub off the plan."""
    form = typed(posted, "name")
    name = form.values["name"]
    return _change(
        context,
        rig_id,
        form,
        lambda plan: forms.without_hub(plan, name),
        lambda db, form: _hub(context, db, rig_id, name, form),
    )


@router.get("/rigs/{rig_id}/rules")
def rules_form(context: LeadContext, rig_id: str) -> Response:
    """Show the form of mixer, box, prices, rules and performers."""
    with context.reading() as db:
        return _rules(context, db, rig_id, Form(values=forms.rules_values(_plan(db, rig_id), _unit(context))))


@router.post("/rigs/{rig_id}/rules")
def set_rules(context: LeadContext, rig_id: str, posted: Posted) -> Response:
    """Set mixer, box, prices, rules and performers."""
    form = typed(posted, *forms.RULES)
    return _change(
        context,
        rig_id,
        form,
        lambda plan: forms.with_rules(plan, form.values, _unit(context)),
        lambda db, form: _rules(context, db, rig_id, form),
    )


@router.post("/rigs/{rig_id}/undo")
def undo(context: LeadContext, rig_id: str, posted: Posted) -> Response:
    """Go back to the plan before the last change."""
    op, rig = read_op(posted.get("op")), _id(rig_id)
    done = context.once(op, "rig.undo", str(rig), lambda db: actions.undo(db, rig))
    return RedirectResponse(f"/rigs/{rig}?undone={'yes' if done else 'no'}", 303)


@router.post("/rigs/{rig_id}/inputs")
def make_inputs(context: LeadContext, rig_id: str, posted: Posted) -> Response:
    """Make the input list of a season or an event from the rig, wired in one way."""
    form = typed(posted, "way", "of")

    with context.reading() as db:
        plan = _plan(db, rig_id)
    way = _way(plan, form.values["way"])

    def make() -> str:
        op, rig = form.id, _id(rig_id)

        def do(db: Session) -> int:
            offered = queries.without_input_list(db, context.today)
            of = next((each for each in offered if str(each.id) == form.values["of"]), None)
            if of is None:
                raise invalid("of", "It has an input list already, or is over. Choose again.")
            if way.rig is None:
                raise invalid("of", way.problem)
            return actions.make_input_list(db, op, plan, way.rig, of, context.actor)

        context.once(op, "rig.inputs", [str(rig), form.values], do)
        return f"/inputs/{op}"

    return context.submit(form, make, lambda db, form: _rig(context, db, rig_id, way, "", form))


@router.post("/rigs/{rig_id}/end")
def end_rig(context: LeadContext, rig_id: str, posted: Posted) -> Response:
    """Delete a rig."""
    op, rig = read_op(posted.get("op")), _id(rig_id)
    context.once(op, "rig.end", str(rig), lambda db: actions.end_rig(db, rig, context.actor))
    return RedirectResponse("/rigs", 303)


def _change(
    context: RequestContext,
    rig_id: str,
    form: Form,
    changed: Callable[[Plan], Plan],
    again: Callable[[Session, Form], Response],
) -> Response:
    """Change the plan of a rig as a form says, once."""

    def change() -> str:
        op, rig = form.id, _id(rig_id)

        def do(db: Session) -> str:
            plan = queries.get_version(db, queries.get_rig(db, rig)).plan
            actions.change_plan(db, rig, op, changed(plan), context.actor)
            return str(rig)

        context.once(op, "rig.change", [str(rig), form.values], do)
        return f"/rigs/{rig}"

    return context.submit(form, change, again)


def _id(rig_id: str) -> UUID:
    key = as_id(rig_id)
    if key is None:
        raise NotFound("There is no such rig. Look at the list of rigs.")
    return key


def _plan(db: Session, rig_id: str) -> Plan:
    return queries.get_version(db, queries.get_rig(db, as_id(rig_id))).plan


def _unit(context: RequestContext) -> Unit:
    return Unit(context.program.unit)


def _list(context: RequestContext, db: Session, form: Form) -> Response:
    return context.page(
        "rig/list.html",
        form=form,
        rigs=queries.rigs(db),
        leads=context.me.role.reaches(Role.LEAD),
        most=forms.RIG_NAME_MOST,
    )


def _rig(context: RequestContext, db: Session, rig_id: str, shown: ComparedWay, undone: str, form: Form) -> Response:
    rig = queries.get_rig(db, as_id(rig_id))
    plan = queries.get_version(db, rig).plan
    ways = compare(plan)
    return context.page(
        "rig/rig.html",
        rig=rig,
        plan=plan,
        ways=ways if shown.key in {one.key for one in ways} else [*ways, shown],
        shown=shown,
        form=form,
        drilled=sorted(observed_setup(db).whole),
        seasons=[(str(each.id), each.name) for each in queries.without_input_list(db, context.today)],
        picture=draw(plan, shown.rig),
        leads=context.me.role.reaches(Role.LEAD),
        window=WINDOW_S,
        undone=undone,
        price=format_money,
        query=urlencode,
    )


def _way(plan: Plan, key: str) -> ComparedWay:
    """The way with this key; without one, the cheapest of those side by side. A solver may look for it for seconds, so
    no session is open meanwhile.
    """
    ways = compare(plan)
    return next((one for one in ways if one.key == key), None) or find_way(plan, key) or _first_that_works(ways)


def _first_that_works(ways: list[ComparedWay]) -> ComparedWay:
    """The cheapest way that can be wired, else the first."""
    works = [(one.rig.bill.price, number) for number, one in enumerate(ways) if one.rig]
    return ways[min(works)[1] if works else 0]


def _station(context: RequestContext, db: Session, rig_id: str, was: str, form: Form) -> Response:
    rig, plan = queries.get_rig(db, as_id(rig_id)), _plan(db, rig_id)
    targets = ["box", *plan["hubs"], *(one["name"] for one in plan["stations"] if one["name"] != was)]
    into = [("", "The nearest on the way"), *((name, "The box" if name == "box" else name) for name in targets)]
    return context.page(
        "rig/station.html", rig=rig, form=form, labels=forms.STATION, was=was, into=into, rules=plan["rules"]
    )


def _hub(context: RequestContext, db: Session, rig_id: str, was: str, form: Form) -> Response:
    return context.page("rig/hub.html", rig=queries.get_rig(db, as_id(rig_id)), form=form, labels=forms.HUB, was=was)


def _rules(context: RequestContext, db: Session, rig_id: str, form: Form) -> Response:
    return context.page("rig/rules.html", rig=queries.get_rig(db, as_id(rig_id)), form=form, labels=forms.RULES)
