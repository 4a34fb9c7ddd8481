"""People of one name: what tells them apart stands where one of them is let go."""

import re
from uuid import UUID

import pytest

from service.crew import actions
from service.crew.core import Role, Who
from service.crew.models import Person
from service.crew.queries import people_named
from tests.support.program import Running
from tests.testlog.support import Bench, bench


def two_jos(program: Running) -> tuple[UUID, UUID]:
    """Two of the crew by one name, who came on two days; the first logged a test."""
    at = bench(program, "xlr3")
    with program.store.writing() as db:
        one = actions.add_person(db, "Jo", Role.CREW, program.clock.now)
        who = Who(one.id, "Jo", Role.CREW)
    program.clock.ahead(days=1)
    Bench(program, at.ids, who).test(at.codes[0])
    with program.store.writing() as db:
        return one.id, actions.add_person(db, "Jo", Role.CREW, program.clock.now).id


ONE = "crew, since Mon Sep 21, 6:00 pm; last logged a test Tue Sep 22, 6:00 pm"
OTHER = "crew, since Tue Sep 22, 6:00 pm; logged no test"


def test_the_list_tells_them_apart(program: Running) -> None:
    one, other = two_jos(program)
    page = re.sub(r"\s+", " ", program.lead.get("/crew").text)
    for person, told in ((one, ONE), (other, OTHER)):
        assert re.search(f"<b>Jo</b><br><span class=.soft.>{told}</span>.*?/crew/people/{person}/end", page)


@pytest.mark.parametrize("way", ["end", "erase"])
def test_both_are_asked_about_with_what_tells_them_apart(program: Running, way: str) -> None:
    for person, told in zip(two_jos(program), (ONE, OTHER), strict=True):
        assert told in program.lead.get(f"/crew/people/{person}/{way}").text


def test_access_ends_only_after_a_question(program: Running) -> None:
    one, other = two_jos(program)
    assert f'action="/crew/people/{one}/end"' not in program.lead.get("/crew").text
    assert f'action="/crew/people/{one}/end"' in program.lead.get(f"/crew/people/{one}/end").text
    with program.store.reading() as db:
        assert len(people_named(db, "Jo")) == 2
    assert program.lead.post(f"/crew/people/{one}/end").status_code == 303
    with program.store.reading() as db:
        assert [person.id for person in people_named(db, "Jo")] == [other]
        assert db.get_one(Person, one).ended_at is not None
    assert program.lead.get(f"/crew/people/{one}/end").status_code == 404
    assert f"{ONE.replace(';', ', gone since Tue Sep 22, 6:00 pm;')}" in program.lead.get("/crew").text
