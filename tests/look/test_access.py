"""What axe-core finds on the gallery and the problem page: nothing, in every theme."""

import pytest

from tests.look.conftest import Open
from tests.support.access import barriers, barriers_at

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("template", ["gallery.html", "problem.html"])
def test_axe_finds_nothing(opened: Open, template: str) -> None:
    assert barriers_at(opened(template), (390, 1200)) == []


def test_axe_sees_a_color_that_is_too_pale_in_the_dark(opened: Open) -> None:
    page = opened("problem.html")
    page.evaluate("document.documentElement.style.setProperty('--ink', '#1d1a15')")  # that of the light theme
    [found] = barriers_at(page, (390,))
    assert found.startswith("390 px, dark: color-contrast: ")


def test_axe_sees_a_planted_fault(opened: Open) -> None:
    page = opened()
    page.evaluate("document.querySelector('label').remove()")
    assert len(barriers(page)) == 1


def test_every_error_is_tied_to_its_control(opened: Open) -> None:
    page = opened()
    for link in page.locator(".notice[role=alert] a").all():
        target = page.locator(link.get_attribute("href") or "")
        assert target.get_attribute("aria-invalid") == "true"
        described = (target.get_attribute("aria-describedby") or "").split()
        assert page.locator(f"#{described[-1]}.wrong").count() == 1


def test_the_error_summary_takes_the_focus(opened: Open) -> None:
    assert opened().evaluate("document.activeElement.getAttribute('role')") == "alert"


def test_edges_stay_in_forced_colors(opened: Open) -> None:
    page = opened(forced_colors="active")
    for part in (".btn", ".chip", ".verdict", ".node", ".notice", ".tile", "input[type=text]"):
        width, style = page.locator(part).first.evaluate(
            "one => [parseFloat(getComputedStyle(one).borderTopWidth), getComputedStyle(one).borderTopStyle]"
        )
        assert width >= 2
        assert style != "none"
