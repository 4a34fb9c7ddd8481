"""A short round in every run; the long one is `python -m tests.outbox.long`."""

from random import Random

import pytest
from playwright.sync_api import Browser

from tests.outbox.rounds import a_round
from tests.outbox.support import Truck


@pytest.mark.browser
def test_many_tests_on_three_phones_arrive_once_each(at_truck: Truck, browser: Browser) -> None:
    assert a_round(at_truck, browser, tests=18, phones=3, chance=Random(11)) >= 6
