"""C1, C2, C6 and C10: what was acknowledged is there once, however often the service or the database is killed."""

import os
import signal
from collections.abc import Iterator
from random import Random

import pytest
from sqlalchemy import text

from service.store.sessions import Store
from tests.crash.load import Load, reckoned
from tests.crash.service import prepared, running
from tests.support.postgres import Cluster, running_cluster
from tests.support.waiting import PATIENCE


def test_nothing_acknowledged_is_lost_or_doubled(sqlite_url: str) -> None:
    random = Random(1)
    with running(prepared(sqlite_url)) as service:
        load = Load(service)
        with load.going():
            for _ in range(2):
                load.wait_for(random.randint(40, 120))
                service.kill()
                service.start()
            load.wait_for(40)
            service.terminate()
            service.start()
            load.wait_for(40)
    found = reckoned(load)
    assert (found.lost, found.doubled, found.broken) == ([], [], [])
    assert load.suppressed >= 1, "no answer was ever lost, so nothing was tried"


def test_it_stops_when_told_whatever_housekeeping_is_at(sqlite_url: str) -> None:
    with running(prepared(sqlite_url), "endless") as service:
        service.terminate(PATIENCE)
        assert service.process.returncode == 0


def test_a_service_that_commits_after_it_answers_is_caught(sqlite_url: str) -> None:
    with running(prepared(sqlite_url), "later") as service:
        load = Load(service)
        with load.going():
            for _ in range(2):
                load.wait_for(20)
                service.kill()
                service.start()
    assert reckoned(load).lost


def test_a_service_that_takes_every_request_for_a_new_one_is_caught(sqlite_url: str) -> None:
    with running(prepared(sqlite_url), "forgetful") as service:
        load = Load(service)
        with load.going():
            load.wait_for(150)
    assert reckoned(load).doubled


@pytest.fixture
def cluster() -> Iterator[Cluster]:
    """A PostgreSQL server that syncs as in earnest, and may be killed."""
    with running_cluster(fsync=True) as cluster:
        yield cluster


def a_backend(url: str) -> int:
    """The process of the server that serves one of the service's connections."""
    store = Store(url)
    with store.reading() as db:
        ours = "application_name = 'coilbook' AND pid <> pg_backend_pid() AND datname = current_database()"
        pid = db.scalar(text(f"SELECT max(pid) FROM pg_stat_activity WHERE {ours}"))
    store.close()
    assert isinstance(pid, int)
    return pid


@pytest.mark.postgres
def test_nor_on_postgres_when_the_service_a_backend_or_the_server_is_killed(cluster: Cluster) -> None:
    with cluster.fresh_database() as name, running(prepared(cluster.url(name))) as service:
        load = Load(service)
        with load.going():
            load.wait_for(60)
            service.kill()
            service.start()
            load.wait_for(60)
            os.kill(a_backend(service.program.url), signal.SIGKILL)
            load.wait_for(60)
            cluster.stop("immediate")
            cluster.start()
            load.wait_for(60)
        found = reckoned(load)
    assert (found.lost, found.doubled, found.broken) == ([], [], [])
    assert load.suppressed >= 1
