"""A scan by photo, by camera or by typed code leads to one place, whatever for, and never off this site."""

import re
import threading
from html import unescape
from random import Random
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

import pytest
from httpx2 import Response
from PIL import Image

from service.gear.queries import place_named
from service.kit.codes import make_code
from service.tags import photo
from service.tags.actions import retag, tag_places
from tests.home.support import Truck, truck
from tests.support.program import Running
from tests.tags.images import encoded, scene, symbol

HOST = "HTTPS://CABLES.EXAMPLE.ORG"


@pytest.fixture
def at(program: Running) -> Truck:
    return truck(program, ("Marimba, lower", "Frame 1", 10), ("vibes", "Frame 2", 15))


def sent(at: Truck, *texts: str, client: Any = None, **fields: str) -> Response:
    """A photo of QR codes with these texts, sent from the page."""
    data = encoded(scene(*(symbol(text, 6) for text in texts), size=(500 * max(1, len(texts)), 500)))
    return (client or at.program.crew).post("/scan", files={"photo": ("tag.jpg", data, "image/jpeg")}, data=fields)


def test_a_photo_leads_to_the_tag_whatever_host_it_was_printed_for(at: Truck) -> None:
    code = at.tags["vibes"]
    for host in (HOST, "HTTP://OLD-HOST.EXAMPLE:8000"):
        answer = sent(at, f"{host}/T/{code}")
        assert (answer.status_code, answer.headers["location"]) == (303, f"/find?code={code}")
        assert at.program.crew.get(answer.headers["location"]).headers["location"] == f"/t/{code}?scanned=1"


def test_in_a_session_a_scan_goes_on_to_the_test(at: Truck) -> None:
    code, session = at.tags["vibes"], str(uuid4())
    page = at.program.crew.get("/scan", params={"session": session}).text
    assert page.count(f'name="session" value="{session}"') == 2
    answer = sent(at, f"{HOST}/T/{code}", session=session)
    assert answer.headers["location"] == f"/find?code={code}&session={session}"
    following = at.program.crew.get(answer.headers["location"]).headers["location"]
    assert following == f"/t/{code}/test?session={session}&scanned=1"
    assert at.program.crew.get(following).status_code == 200


def test_a_scan_for_the_other_end_goes_back_to_the_first(at: Truck) -> None:
    near, far = at.tags["vibes"], at.tags["Marimba, lower"]
    answer = sent(at, f"{HOST}/T/{far}", ends_of=near.lower())
    assert answer.headers["location"] == f"/find?code={far}&ends_of={near}"
    assert at.program.crew.get(answer.headers["location"]).headers["location"] == f"/t/{near}/ends?far={far}"


def test_a_scan_for_a_spare_goes_back_to_the_swap(at: Truck) -> None:
    bad, spare = at.tags["vibes"], at.tags["Marimba, lower"]
    assert f'href="/scan?swap_for={bad}"' in at.program.crew.get("/swap", params={"bad": bad}).text
    page = at.program.crew.get("/scan", params={"swap_for": bad}).text
    assert "Scan the spare" in page
    assert page.count(f'name="swap_for" value="{bad}"') == 2
    answer = sent(at, f"{HOST}/T/{spare}", swap_for=bad.lower())
    assert answer.headers["location"] == f"/find?code={spare}&swap_for={bad}"
    following = at.program.crew.get(answer.headers["location"]).headers["location"]
    assert following == f"/swap?bad={bad}&spare={spare}"
    assert f'value="{spare}"' in at.program.crew.get(following).text


def test_a_pasted_address_is_as_good_as_its_code(at: Truck) -> None:
    code = at.tags["vibes"]
    answer = at.program.crew.get("/find", params={"code": f"https://old.example/t/{code.lower()}?x=1"})
    assert answer.headers["location"] == f"/t/{code}?scanned=1"


def test_several_tags_in_one_picture_are_named_for_choice(at: Truck) -> None:
    codes = [at.tags["vibes"], at.tags["Marimba, lower"]]
    answer = sent(at, *(f"{HOST}/T/{code}" for code in codes))
    assert answer.status_code == 200
    assert "Which one?" in answer.text
    for label, code in at.tags.items():
        assert f'href="/find?code={code}"' in answer.text
        assert label in answer.text


def test_a_strange_code_is_shown_and_never_followed(at: Truck) -> None:
    code = at.tags["vibes"]
    text = 'https://elsewhere.example/login"><script>x'
    answer = sent(at, text)
    assert answer.status_code == 422
    assert "https://elsewhere.example/login&#34;&gt;&lt;script&gt;x" in answer.text
    assert 'href="https://elsewhere' not in answer.text
    beside = sent(at, text, f"{HOST}/T/{code}")
    assert beside.headers["location"] == f"/find?code={code}"


def test_a_picture_without_a_code_says_what_to_do(at: Truck) -> None:
    data = encoded(Image.new("L", (300, 300), 190))
    answer = at.program.crew.post("/scan", files={"photo": ("tag.jpg", data, "image/jpeg")})
    assert answer.status_code == 422
    assert "Go nearer" in answer.text


@pytest.mark.parametrize(
    ("content", "kind", "says"),
    [
        (b"", "multipart/form-data; boundary=x", "Choose a photo"),
        (b"photo=1", "application/x-www-form-urlencoded", "Choose a photo"),
        (b"--x\r\nbroken", "multipart/form-data", "no form with one photo"),
        (b"no boundary here", "multipart/form-data; boundary=x", "no form with one photo"),
        (
            b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a"\r\n\r\nno photo\r\n--x--\r\n',
            "multipart/form-data; boundary=x",
            "no photo that can be read",
        ),
        (
            b"".join(b'--x\r\nContent-Disposition: form-data; name="f%d"\r\n\r\n1\r\n' % part for part in range(10_000))
            + b"--x--\r\n",
            "multipart/form-data; boundary=x",
            "no form with one photo",
        ),
    ],
    ids=["nothing", "another kind of form", "no boundary", "garbage", "a text file", "ten thousand parts"],
)
def test_what_is_no_form_with_a_photo_is_told(at: Truck, content: bytes, kind: str, says: str) -> None:
    answer = at.program.crew.post("/scan", content=content, headers={"Content-Type": kind})
    assert answer.status_code == 422
    assert says in answer.text


def test_only_crew_has_photos_read(at: Truck) -> None:
    text = f"{HOST}/T/{at.tags['vibes']}"
    assert sent(at, text, client=at.program.viewer).status_code == 403
    assert sent(at, text, client=at.program.stranger).status_code == 401
    assert at.program.viewer.get("/scan").status_code == 403


def test_more_photos_than_fit_are_asked_to_come_again(at: Truck) -> None:
    with photo._slot(), photo._slot():
        answer = sent(at, f"{HOST}/T/{at.tags['vibes']}")
    assert answer.status_code == 503
    assert answer.headers["retry-after"]
    assert "type the code" in answer.text


def test_photos_sent_at_once_are_all_read(at: Truck) -> None:
    answers: list[Response] = []
    text = f"{HOST}/T/{at.tags['vibes']}"
    threads = [threading.Thread(target=lambda: answers.append(sent(at, text))) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {answer.status_code for answer in answers} == {303}


def test_a_code_that_has_ended_is_told_wherever_it_was_scanned_for(at: Truck) -> None:
    old = at.tags["vibes"]
    with at.program.store.writing() as db:
        retag(db, old, at.actor)
    for ways in ({}, {"session": str(uuid4())}):
        following = at.program.crew.get("/find", params={"code": old} | ways).headers["location"]
        assert at.program.crew.get(following).status_code == 410


def test_the_tag_of_a_place_leads_to_its_walk_and_takes_the_session_along(at: Truck) -> None:
    with at.program.store.writing() as db:
        place = place_named(db, "Frame 1")
        assert place is not None
        [code] = tag_places(db, [place.id], at.program.clock.now)
    session = str(uuid4())
    answer = sent(at, f"{HOST}/T/{code}", session=session)
    walk = at.program.crew.get(answer.headers["location"]).headers["location"]
    assert walk == f"/places/{place.id}/walk?session={session}"
    page = at.program.crew.get(walk).text
    marimba, vibes = at.tags["Marimba, lower"], at.tags["vibes"]
    assert f'href="/t/{marimba}/test?session={session}"' in page
    assert vibes not in page
    assert "Untested" in page
    assert at.program.stranger.get(walk).status_code == 401
    viewer = at.program.viewer.get(f"/places/{place.id}/walk").text
    assert f'href="/t/{marimba}"' in viewer
    assert "/test" not in viewer


ELSEWHERE = [
    "https://elsewhere.example",
    "http://elsewhere.example/",
    "//elsewhere.example",
    "///elsewhere.example",
    "/\\elsewhere.example",
    "\\\\elsewhere.example",
    "https:elsewhere.example",
    "https:/elsewhere.example",
    "javascript:alert(1)",
    "data:text/html,x",
    "/t//elsewhere.example",
    "/%2felsewhere.example",
    "/%5celsewhere.example",
    "https://cables.test@elsewhere.example",
    "https://cables.test.elsewhere.example",
    "/\telsewhere.example",
    "/\n/elsewhere.example",
    "\t//elsewhere.example",
    "/.//elsewhere.example",
    "/..//elsewhere.example",
    "https://elsewhere.example/t/{code}",
    "//elsewhere.example/t/{code}",
    "https://elsewhere.example/T/{code}?next=//x",
    "{code}//elsewhere.example",
    "{code}@elsewhere.example",
    "{code}/../..//elsewhere.example",
    "{code}?next=https://elsewhere.example",
    "{code}#//elsewhere.example",
    "{code}%0d%0aLocation:%20//elsewhere.example",
    "{code}\r\nLocation: https://elsewhere.example",
    "https://elsewhere.example/?/t/{code}",
    "ftp://elsewhere.example/t/{code}",
    "//elsewhere.example%2f..",
    "〱elsewhere.example",
    "https：//elsewhere.example",
    "／／elsewhere.example",
    "%68ttps://elsewhere.example",
    "http:\\\\elsewhere.example",
    "/t/{code}/../../..//elsewhere.example",
    "?next=//elsewhere.example",
]


def inside(answer: Response) -> bool:
    """Whether an answer keeps a browser here: it leads nowhere, or to a path of ours."""
    where = answer.headers.get("location")
    if where is None:
        return True
    parts = urlsplit(where)
    return (
        where.startswith("/")
        and not where.startswith(("//", "/\\"))
        and not parts.scheme
        and not parts.netloc
        and not set(where) & set("\\\r\n\t")
    )


@pytest.mark.parametrize("text", ELSEWHERE)
def test_no_scan_leads_off_this_site(at: Truck, text: str) -> None:
    assert len(ELSEWHERE) == 40
    code = at.tags["vibes"]
    text = text.replace("{code}", code)
    crew = at.program.crew
    ways = [
        crew.get("/find", params={"code": text}),
        crew.get("/find", params={"code": code, "session": text, "ends_of": text}),
        crew.get("/scan", params={"session": text, "ends_of": text}),
        crew.get("/sign-in", params={"next": text}),
        crew.get(f"/t/{code}/ends", params={"far": text, "session": text}),
        crew.post(f"/t/{code}/not-this", data={"op": str(uuid4()), "other": text}),
        sent(at, text, session=text, ends_of=text),
        at.program.stranger.get("/find", params={"code": text}),
        at.program.stranger.get(f"/t/{code}", params={"next": text}),
    ]
    for answer in ways:
        assert answer.status_code < 500
        assert inside(answer), answer.headers.get("location")
        assert 'href="https://elsewhere' not in answer.text
        assert 'href="//' not in answer.text


def test_a_label_that_was_typed_as_a_code_leads_to_the_gear(at: Truck) -> None:
    page = at.program.crew.get("/find", params={"code": "vibes low"})
    link = re.search(r'href="(/gear\?q=[^"]+)"', page.text)
    assert link
    assert at.program.crew.get(unescape(link[1])).status_code == 200
    assert "/gear?q=" not in at.program.stranger.get("/find", params={"code": "vibes low"}).text


def test_a_code_of_another_program_is_told(at: Truck) -> None:
    strange = make_code(Random(99))
    answer = sent(at, f"{HOST}/T/{strange}")
    found = at.program.crew.get(answer.headers["location"])
    assert found.status_code == 404
    assert "not a tag of this program" in found.text
