"""Fixtures that every feature's tests build on: the two databases and the browser."""

import gc
import os
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser, BrowserContext

from tests.support.chromium import chromium, phone_in
from tests.support.examples import PROFILE
from tests.support.made import keep_what_is_made
from tests.support.postgres import Cluster, running_cluster
from tests.support.statements import share_compiled

if TYPE_CHECKING:
    from tests.support.program import Running

# As the commands do, before numpy is imported: its threads would spend more on waiting for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# How long an example takes is a matter for the benchmarks: a busy machine must not fail a property.
# In CI the examples are the same every time; elsewhere each run looks at new ones.
# `--hypothesis-profile=thorough` looks at many more.
settings.register_profile(
    "coilbook",
    deadline=None,
    max_examples=PROFILE,
    derandomize=os.environ.get("CI") == "true",
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("thorough", settings.get_profile("coilbook"), max_examples=1000, derandomize=False)
settings.register_profile("fast", settings.get_profile("coilbook"), max_examples=PROFILE // 4)
settings.load_profile("coilbook")


TESTS = Path(__file__).parent
SLOW = {
    "clock/test_clock.py": "starts commands, eight at once",
    "crash": "kills real services, again and again",
    "crew/test_guessing.py": "guesses passphrases, each of which is hashed",
    "crew/test_privacy.py": "lets the names of seasons go, one after the other",
    "demo/test_demo.py": "loads the demo anew, on PostgreSQL too",
    "demo/test_fill.py": "fills databases, and recomputes all that is stored in them",
    "deploy": "installs and starts the program as a newcomer does",
    "diagnosis/test_least.py": "explains every reading that there is of three contacts",
    "diagnosis/test_offline_tables.py": "works out what every reading of every wiring comes to",
    "exchange/test_between.py": "carries programs from database to database",
    "exchange/test_files.py": "carries programs through files into new databases",
    "exchange/test_round_trip.py": "takes the whole demo out and in again",
    "exchange/test_wiring_guess.py": "reads a sheet for each of hundreds of words",
    "gear/test_new_kind.py": "loads the demo anew, with one kind more",
    "house/test_roads.py": "notes every function that a request of the demo runs",
    "outbox/test_readings.py": "reads every fault of every wiring twice, by the service and by the phone",
    "retire/test_buy_or_repair.py": "looks for contradictions in a hundred programs",
    "retire/test_one_model.py": "asks every page for its figures in many programs",
    "retire/test_spares_page.py": "works out the spares of many trips",
    "retire/test_standings.py": "makes every list anew after each of thirty writes",
    "retire/test_ticking.py": "ticks pull lists in every order",
    "schedule/test_advice.py": "holds advice on a thousand small programs against every way out",
    "schedule/test_planning.py": "plans evenings from a long log",
    "season/test_zones.py": "goes through every change of the clock in every zone",
    "store/test_backup.py": "backs up, damages and restores",
    "store/test_migrations.py": "migrates from every revision",
    "tags/test_photo.py": "reads large photos",
    "tags/test_printing.py": "prints and reads a thousand tags",
    "tags/test_reading.py": "reads hundreds of pictures of tags",
    "testers/test_tables.py": "starts processes that work tables out",
    "testers/test_tables_api.py": "works out the table of every wiring",
    "testlog/test_cache.py": "compares all that is cached after every step of hundreds",
    "testlog/test_pages.py": "opens and sends the form of every wiring",
    "testlog/test_phone_tables.py": "works out every reading of two wirings, with a drawing of each fault",
    "testlog/test_through_several.py": "reckons four pieces by a second rule after every step of hundreds",
    "wear/test_confidence.py": "fits hundreds of simulated histories",
    "wear/test_event_day.py": "simulates a hundred programs",
    "wear/test_fit.py": "fits hundreds of histories, and by a second library",
    "wear/test_housekeeping.py": "fits wear after each change of a log",
    "wear/test_pooled_calibration.py": "fits programs whose wear is known, again and again",
    "web/test_api_order.py": "sends every write of the API what it does not expect",
    "web/test_abuse.py": "sends what hundreds of forms do not expect",
    "web/test_limits.py": "sends requests until the limits are reached",
    "web/test_many_phones.py": "starts the service and opens hundreds of connections",
    "web/test_request_log.py": "starts the service in a process of its own",
    "web/test_roles.py": "asks for every route in everybody's name",
    "wiring/test_coverage.py": "looks at every fault of every wiring",
}
"""Folders and files that take many seconds of a processor, and why: what `--fast` leaves out."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--every-case` runs each case of a test on both engines, `--fast` what takes little time on one."""
    parser.addoption("--every-case", action="store_true", help="run each case on PostgreSQL, too")
    parser.addoption("--fast", action="store_true", help="run no test in a browser, on PostgreSQL or marked as slow")


def pytest_configure(config: pytest.Config) -> None:
    """With `--fast`, properties look at few examples; what says how many in `settings` has them all the same."""
    config.add_cleanup(keep_what_is_made().close)
    gc.disable()  # until all is collected: what is imported stays
    share_compiled()
    if config.getoption("--fast"):
        settings.load_profile("fast")
        if gone := [place for place in SLOW if not (TESTS / place).exists()]:
            raise pytest.UsageError(f"{', '.join(gone)}: not there any more; take it out of SLOW in tests/conftest.py")


@cache
def is_slow(path: Path) -> bool:
    """Whether a file or folder is in a slow place."""
    return any(path.is_relative_to(TESTS / place) for place in SLOW)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """With `--fast`, what is slow is not even imported."""
    return True if config.getoption("--fast") and is_slow(collection_path) else None


def pytest_itemcollected(item: pytest.Item) -> None:
    """A test that asks for a browser, for PostgreSQL or for the demo, whose load takes many seconds, is marked so by
    that, one in a slow place by its place.
    """
    if is_slow(item.path):
        item.add_marker("slow")
    asked = getattr(item, "fixturenames", ())
    for fixture, mark in (("browser", "browser"), ("postgres_cluster", "postgres"), ("demo", "slow")):
        if fixture in asked:
            item.add_marker(mark)


LEFT_OUT = ("browser", "postgres", "slow")
"""The marks of what `--fast` does without."""


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Every test runs on both engines; of its cases PostgreSQL gets the first, since engines differ in statements.

    What one case of a test asks of the database, the others ask in other words.
    """
    if config.getoption("--fast"):
        left_out = [item for item in items if any(map(item.get_closest_marker, LEFT_OUT))]
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]
    if config.getoption("--every-case"):
        return
    seen: set[str] = set()
    kept: list[pytest.Item] = []
    left: list[pytest.Item] = []
    for item in items:
        test = item.nodeid.partition("[")[0]
        on_postgres = item.get_closest_marker("postgres") is not None
        (left if on_postgres and test in seen else kept).append(item)
        if on_postgres:
            seen.add(test)
    config.hook.pytest_deselected(items=left)
    # The longest first: one that begins when all others have ended keeps one worker busy and the others idle.
    items[:] = sorted(kept, key=lambda item: not any(map(item.get_closest_marker, ("slow", "browser"))))


def pytest_collection_finish() -> None:
    """Leave what was imported out of every later search for garbage."""
    gc.collect()
    gc.freeze()
    gc.enable()
    gc.set_threshold(20_000, 10, 10)  # as the service has it


@pytest.fixture(scope="session")
def postgres_cluster() -> Iterator[Cluster]:
    """A PostgreSQL server for this pytest worker, without fsync: tests of crashes start their own."""
    with running_cluster(fsync=False) as cluster:
        yield cluster


@pytest.fixture
def postgres_url(postgres_cluster: Cluster) -> Iterator[str]:
    """An empty PostgreSQL database."""
    with postgres_cluster.fresh_database() as name:
        yield postgres_cluster.url(name)


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    """An empty SQLite database, in a file that does not exist yet."""
    return f"sqlite:///{tmp_path / 'coilbook.db'}"


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def database_url(request: pytest.FixtureRequest) -> str:
    """An empty database; a test that asks for it runs once on each engine."""
    url: str = request.getfixturevalue(f"{request.param}_url")
    return url


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def program(request: pytest.FixtureRequest) -> "Iterator[Running]":
    """The running service over an empty program, on each engine."""
    from tests.support.program import running  # in a worker only: it takes seconds to import

    if request.param == "sqlite":
        with running(request.getfixturevalue("sqlite_url")) as service:
            yield service
        return
    cluster: Cluster = request.getfixturevalue("postgres_cluster")
    with cluster.name() as name, running(cluster.url(name)) as service:
        yield service


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium for this pytest worker."""
    with chromium() as running:
        yield running


@pytest.fixture
def phone(browser: Browser) -> Iterator[BrowserContext]:
    """A phone's browser with nothing in it."""
    with phone_in(browser) as context:
        yield context


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """A run in which every test was skipped has tested nothing, and must not look like a success."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or session.config.option.collectonly or session.exitstatus != pytest.ExitCode.OK:
        return
    if not any(reporter.stats.get(outcome) for outcome in ("passed", "xfailed")):
        session.exitstatus = pytest.ExitCode.NO_TESTS_COLLECTED
