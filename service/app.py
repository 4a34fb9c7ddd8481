"""The application: the only place that knows every router."""

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractContextManager, asynccontextmanager, nullcontext
from datetime import UTC, datetime

import anyio.to_thread
from fastapi import FastAPI
from starlette.middleware.gzip import DEFAULT_EXCLUDED_CONTENT_TYPES, GZipMiddleware

from service.chores import CHORES
from service.counts import pages as counts
from service.crew import pages as crew
from service.crew.devices import pages as devices
from service.crew.hashing import HashingQueue
from service.crew.privacy import pages as privacy
from service.exchange.handover import pages as handover
from service.exchange.sheets import export_pages as exports
from service.exchange.sheets import pages as sheets
from service.exchange.sheets.runs import ImportRuns
from service.gear import pages as gear
from service.gear.own import pages as own_wirings
from service.home.due import api as due_api
from service.home.due import pages as due
from service.home.items import api as items_api
from service.home.items import pages as items
from service.home.now import pages as now
from service.home.offline import api as offline_api
from service.home.offline import pages as offline
from service.home.people import pages as people
from service.home.place import pages as place
from service.home.scan import pages as scan
from service.home.seasons import copy_pages as season_copies
from service.home.seasons import pages as seasons
from service.home.swap import pages as swap
from service.home.tag import pages as tag
from service.home.test import pages as test_form
from service.home.test import result_pages as test_results
from service.home.trail import pages as trail
from service.lines.cards import pages as plug_cards
from service.lines.checks import api as line_checks_api
from service.lines.checks import pages as line_checks
from service.lines.drills import api as drills_api
from service.lines.drills import pages as drills
from service.lines.inputs import api as inputs_api
from service.lines.inputs import pages as inputs
from service.lines.inputs import sheet_pages as input_sheets
from service.lines.inputs.through import channel_words
from service.retire.buying import pages as buying
from service.retire.decisions import pages as decisions
from service.retire.decisions import price_pages as prices
from service.retire.lists import api as pull_api
from service.retire.lists import pages as pull_lists
from service.retire.spares import pages as spares
from service.rig import api as rigs_api
from service.rig import pages as rigs
from service.schedule.calendar import pages as calendar
from service.schedule.planning import pages as planning
from service.schedule.reminders import pages as reminders
from service.sessions import pages as sessions
from service.sessions import work_pages as session_work
from service.sessions.lanes import pages as lanes
from service.settings import Settings
from service.store.engine import THREADS
from service.store.sessions import Store
from service.suspects import api as crackles_api
from service.suspects import pages as crackles
from service.swaps import api as swaps_api
from service.swaps import pages as swaps
from service.tags import pages as tags
from service.tags import setup_pages as tag_setup
from service.testers import api as bench_api
from service.testers import pages as bench
from service.testers.tables import Tables
from service.testlog import api as tests_api
from service.testlog import care_pages as care
from service.testlog import pages as test_log
from service.testlog.housekeeping_thread import House
from service.testlog.logging_tests import make_batcher
from service.testlog.marks import api as marks_api
from service.wear import pages as wear
from service.web import health, problems, static
from service.web.limits import Limiter
from service.web.middleware.request_log import RequestLog
from service.web.middleware.security import COMPRESSED_FROM, COMPRESSION, SecurityMiddleware

ROUTERS = (
    # What is asked most comes first: an address is held against every router before its own.
    tag.router,
    tests_api.router,
    crew.router,
    people.router,
    trail.router,
    devices.router,
    privacy.router,
    health.router,
    now.router,
    items.router,
    items_api.router,
    gear.router,
    tags.router,
    tag_setup.router,
    scan.router,
    swap.router,
    place.router,
    due.router,
    due_api.router,
    seasons.router,
    season_copies.router,
    calendar.router,
    reminders.router,
    decisions.router,
    prices.router,
    pull_lists.router,
    pull_api.router,
    spares.router,
    buying.router,
    test_form.router,
    test_log.router,
    test_results.router,
    care.router,
    sessions.router,
    sheets.router,
    exports.router,
    handover.router,
    session_work.router,
    counts.router,
    lanes.router,
    swaps.router,
    swaps_api.router,
    crackles.router,
    crackles_api.router,
    marks_api.router,
    static.router,
    offline.router,
    offline_api.router,
    own_wirings.router,
    bench.router,
    bench_api.router,
    planning.router,
    wear.router,
    inputs.router,
    inputs_api.router,
    input_sheets.router,
    plug_cards.router,
    line_checks.router,
    line_checks_api.router,
    drills.router,
    drills_api.router,
    rigs.router,
    rigs_api.router,
)


def create_app(
    settings: Settings,
    clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    beside: Callable[[Store], AbstractContextManager[object]] = nullcontext,
) -> FastAPI:
    """The service over one database. `clock` gives the present moment, in UTC; tests bring their own. `beside` runs
    as long as the service does.
    """
    store = Store(settings.database_url)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        # As many worker threads as database connections: more would only wait for one another.
        anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
        with beside(store):
            yield
        app.state.hashing.close()
        app.state.house.close()
        app.state.imports.close()
        app.state.tests.close()
        store.close()

    app = FastAPI(
        title="Coilbook",
        description="Cable inventory and test log of a band program.",
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        routes=[route for router in ROUTERS for route in router.routes],
    )
    app.state.settings = settings
    app.state.store = store
    app.state.clock = clock
    app.state.limiter = Limiter() if settings.limits else None
    app.state.hashing = HashingQueue()
    app.state.house = House(store, CHORES)
    app.state.imports = ImportRuns()
    app.state.tests = make_batcher()
    app.state.tables = Tables(settings.tables)
    app.state.channel_words = channel_words
    problems.install(app)
    app.add_middleware(
        GZipMiddleware,
        minimum_size=COMPRESSED_FROM,
        compresslevel=COMPRESSION,
        exclude_content_types=(*DEFAULT_EXCLUDED_CONTENT_TYPES, "application/pdf"),
    )
    app.add_middleware(SecurityMiddleware, base_url=settings.base_url)
    app.add_middleware(RequestLog)
    return app
