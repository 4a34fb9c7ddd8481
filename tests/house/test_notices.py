"""The page of notices names what ships, and what each package tells of itself."""

from importlib.metadata import distribution

from tests.house.notices import NOTICES, licence_of, notices, shipped


def test_the_page_is_as_the_command_writes_it() -> None:
    assert NOTICES.read_text() == notices(), "run .venv/bin/python -m tests.house.notices"


def test_what_is_installed_is_what_the_page_names() -> None:
    assert {name: distribution(name).version for name in shipped()} == shipped()


def test_every_package_tells_its_licence() -> None:
    assert [name for name in shipped() if not licence_of(distribution(name))] == []
