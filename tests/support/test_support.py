"""The fixtures do what their docstrings say."""

import psycopg
import pytest
from playwright.sync_api import BrowserContext
from sqlalchemy import create_engine, text

from tests.support.postgres import running_cluster


@pytest.mark.parametrize("round_", [1, 2])
def test_each_test_gets_an_empty_database(database_url: str, round_: int) -> None:
    engine = create_engine(database_url)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE reel (name TEXT)"))  # fails if the table of the other round still exists
    engine.dispose()


@pytest.mark.postgres
def test_a_crashed_cluster_comes_back_with_what_was_committed() -> None:
    with running_cluster(fsync=True) as cluster, cluster.fresh_database() as name:
        address = cluster.url(name).replace("+psycopg", "")
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute("CREATE TABLE reel AS SELECT 7 AS number")
            assert connection.execute("SHOW fsync").fetchone() == ("on",)
        cluster.stop("immediate")
        cluster.start()
        with psycopg.connect(address) as connection:
            assert connection.execute("SELECT number FROM reel").fetchone() == (7,)


@pytest.mark.browser
def test_the_phone_is_a_phone(phone: BrowserContext) -> None:
    page = phone.new_page()
    page.set_content("<meta name=viewport content='width=device-width'><p>Reel</p>")
    seen = page.evaluate("[innerWidth, innerHeight, devicePixelRatio, navigator.maxTouchPoints > 0]")
    assert seen == [390, 844, 2, True]
