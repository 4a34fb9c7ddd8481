"""What is written down for servers and containers fits the service and what reads it."""

import re
import shlex
import shutil
import subprocess
from argparse import _SubParsersAction
from pathlib import Path
from typing import Any

import pytest
import yaml

from service.__main__ import _parser
from service.serving import KEEP_ALIVE

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
UNITS = sorted(DEPLOY.glob("systemd/*.service")) + sorted(DEPLOY.glob("systemd/*.timer"))
COMPOSE: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yaml").read_text())


def commands() -> set[str]:
    """Every command of the service."""
    return set(next(each for each in _parser()._actions if isinstance(each, _SubParsersAction)).choices)


def instructions() -> list[tuple[str, str]]:
    """The Dockerfile's instructions, lines that go on joined."""
    text = re.sub(r"\\\n\s*", " ", (DEPLOY / "Dockerfile").read_text())
    return [
        (word, rest) for line in text.splitlines() if line and line[0] != "#" for word, _, rest in [line.partition(" ")]
    ]


def test_what_the_image_copies_is_there_and_let_through() -> None:
    let_through = (DEPLOY / "Dockerfile.dockerignore").read_text().splitlines()
    copied = [rest.split() for word, rest in instructions() if word == "COPY" and "--from" not in rest]
    sources = [source for *given, _ in copied for source in given]
    assert sources
    for source in sources:
        assert (ROOT / source).exists()
        assert f"!{source}" in let_through or any(f"!{above}" in let_through for above in Path(source).parents)
    assert {"service", "migrations", "templates", "static", "pyproject.toml"} <= set(sources)


def test_the_image_is_not_root_and_says_how_it_is() -> None:
    words = [word for word, _ in instructions()]
    by_word = dict(instructions())
    assert words.index("USER") < words.index("CMD")
    assert by_word["USER"] == "coilbook"
    assert "/readyz" in by_word["HEALTHCHECK"]
    assert words.count("FROM") == 2
    assert "--require-hashes" in str(instructions())


def test_the_image_starts_a_command_that_there_is() -> None:
    by_word = dict(instructions())
    entry, given = (yaml.safe_load(by_word[word]) for word in ("ENTRYPOINT", "CMD"))
    assert entry == ["python", "-m", "service"]
    assert _parser().parse_args(given).port == 8000


def test_the_containers_lean_on_what_is_defined() -> None:
    for name, container in COMPOSE["services"].items():
        assert set(container.get("depends_on", ())) <= set(COMPOSE["services"]), name
        assert set(container.get("networks", ())) <= set(COMPOSE["networks"]), name
        assert set(container.get("secrets", ())) <= set(COMPOSE["secrets"]), name
        for volume in container.get("volumes", ()):
            source = volume.split(":")[0]
            assert source in COMPOSE["volumes"] or (DEPLOY / source).exists(), name
    for name in ("web", "clock", "tools"):
        asked = COMPOSE["services"][name]["command"]
        assert asked == ["--help"] or asked[0] in commands()
        assert COMPOSE["services"][name]["read_only"] is True
    assert _parser().parse_args(COMPOSE["services"]["web"]["command"]).workers == 2
    assert (DEPLOY / COMPOSE["services"]["web"]["build"]["context"] / "service").is_dir()


def test_only_the_proxy_is_reached_from_outside_and_it_is_the_one_believed() -> None:
    assert [name for name, each in COMPOSE["services"].items() if "ports" in each] == ["proxy"]
    address = COMPOSE["services"]["proxy"]["networks"]["inside"]["ipv4_address"]
    assert COMPOSE["services"]["web"]["environment"]["COILBOOK_PROXY"] == address
    assert "password" not in re.sub(r"#.*", "", (DEPLOY / "compose.yaml").read_text()).lower().replace(
        "_password_file", ""
    )


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_a_unit_starts_a_command_that_there_is(unit: Path) -> None:
    started = re.findall(r"^ExecStart=(.*)$", unit.read_text(), re.MULTILINE)
    for line in started:
        words = shlex.split(shlex.split(line)[2])
        assert words[:2] == ["exec", ".venv/bin/coilbook"]
        _parser().parse_args(words[2:])
    assert started or unit.suffix == ".timer"


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here")
def test_systemd_takes_the_units() -> None:
    done = subprocess.run(["systemd-analyze", "verify", *UNITS], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_the_proxy_lets_an_idle_connection_go_before_the_service_does() -> None:
    """Else it sends a form over one that is just being closed, and nobody can tell whether that was taken."""
    (seconds,) = re.findall(r"^\s*keepalive (\d+)s$", (DEPLOY / "Caddyfile").read_text(), re.MULTILINE)
    assert 0 < int(seconds) < KEEP_ALIVE


@pytest.fixture
def elsewhere(tmp_path: Path) -> Path:
    """A copy of the scripts, with a certificate beside it."""
    shutil.copytree(DEPLOY, tmp_path / "deploy")
    asked = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -keyout k.pem -out c.pem -days 2"
    subprocess.run([*asked.split(), "-subj", "/CN=cables.example.org"], cwd=tmp_path, capture_output=True, check=True)
    return tmp_path


def https(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """What the script says."""
    return subprocess.run(["bash", "deploy/https.sh", *words], cwd=folder, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    ("words", "file"),
    [
        ([], "Caddyfile"),
        (["--certificate", "c.pem", "k.pem"], "Caddyfile"),
        (["--nginx", "--certificate", "c.pem", "k.pem"], "coilbook.conf"),
    ],
)
def test_a_proxy_is_set_up_for_a_name(elsewhere: Path, words: list[str], file: str) -> None:
    """Where the proxy is installed, its own test has taken the file."""
    done = https(elsewhere, "cables.example.org", *words)
    assert (done.returncode, done.stderr) == (0, "")
    assert "takes it." in done.stdout or "is not installed here" in done.stdout
    assert "COILBOOK_BASE_URL=https://cables.example.org" in done.stdout
    written = (elsewhere / "data/proxy" / file).read_text()
    assert "127.0.0.1:8000" in written
    assert "COILBOOK" not in re.sub(r"#.*", "", written)
    assert (str(elsewhere / "c.pem") in written) is bool(words)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "name the service"),
        (["cables.example.org;reboot"], "name the service"),
        (["localhost"], "name the service"),
        (["cables.example.org", "--certificate", "c.pem"], "needs two files"),
        (["cables.example.org", "--nginx"], "fetches no certificate"),
        (["cables.example.org", "--apache"], "not '--apache'"),
    ],
)
def test_what_it_cannot_set_up_is_told_in_a_sentence(elsewhere: Path, words: list[str], told: str) -> None:
    done = https(elsewhere, *words)
    assert done.returncode == 1
    assert told in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not (elsewhere / "data/proxy/Caddyfile").exists()


def test_every_file_and_command_that_the_page_names_is_there() -> None:
    page = (DEPLOY / "README.md").read_text()
    for named in re.findall(r"\bdeploy/[\w./-]+\w", page):
        assert (ROOT / named).exists(), named
    for command in re.findall(r"(?:^|\.venv/bin/|`)coilbook ([a-z]+)", page, re.MULTILINE):
        assert command in commands(), command
    for unit in re.findall(r"coilbook[\w-]*\.(?:service|timer)\b", page):
        assert (DEPLOY / "systemd" / unit).exists(), unit
