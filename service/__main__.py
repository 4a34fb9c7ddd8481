"""The command line, `coilbook`. Each command imports what it needs, so that the fast ones start fast."""

import argparse
import gc
import os
import pkgutil
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from service.gear.core import KINDS
from service.kit.problems import Problem
from service.settings import Settings, read_settings, version

ROLES = ("crew", "lead", "viewer")
_DATES = {"mdy": "month_first", "dmy": "day_first", "ymd": "year_first"}


_TRY_AGAIN = os.EX_TEMPFAIL
"""75: nothing is wrong, and another time it will do."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the exit status is 0, 1 for a refusal, 2 for a wrong command line."""
    options = _parser().parse_args(argv)
    # Matrices are small here: numpy's threads, made as it is imported, would spend more on waiting for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        status: int = options.run(options)
    except Problem as problem:
        print(f"coilbook: {problem.detail}", file=sys.stderr)
        return 1
    except BrokenPipeError:
        # Whoever read our output has seen enough.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="coilbook", description="Cable inventory and test log of a band program.")
    parser.add_argument("--version", action="version", version=f"coilbook {version()}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    serve = commands.add_parser("serve", help="serve the pages and the API")
    serve.add_argument("--host", default="127.0.0.1")
    serve.add_argument("--port", type=int, default=8000)
    serve.add_argument("--workers", type=int, default=1)
    serve.add_argument(
        "--reload",
        action="store_true",
        help="for contributors: restart when a Python file changes",
    )
    serve.set_defaults(run=_serve)

    commands.add_parser("migrate", help="bring the database to the newest revision").set_defaults(run=_migrate)
    commands.add_parser("demo", help="fill an empty database with the demo").set_defaults(run=_demo)

    fill = commands.add_parser("fill", help="fill an empty database with many items and tests, for measuring")
    fill.add_argument("--items", type=int, default=1000)
    fill.add_argument("--tests", type=int, default=20_000)
    fill.add_argument("--rng", type=int, default=1, metavar="S", help="the seed: the same S, the same database")
    fill.set_defaults(run=_fill)

    housekeeping = commands.add_parser("housekeeping", help="bring due states and flags up to today")
    housekeeping.add_argument(
        "--verify",
        action="store_true",
        help="change nothing; recompute every cached due state and the fit of wear, and list differences",
    )
    housekeeping.set_defaults(run=_housekeeping)

    commands.add_parser("clock", help="keep house by the hour, until stopped").set_defaults(run=_clock)

    token = commands.add_parser("token", help="make a token for the API")
    token_commands = token.add_subparsers(required=True, metavar="COMMAND")
    create = token_commands.add_parser("create", help="make a token and print it on the last line")
    create.add_argument("name")
    create.add_argument("--role", choices=ROLES, required=True)
    create.set_defaults(run=_token)

    new_pass = commands.add_parser("pass", help="make a way in: a crew pass, or a lead's or viewer's one-time link")
    new_pass.add_argument(
        "name", nargs="?", default="", help="whom or what it is for; a lead's name signs that lead in"
    )
    new_pass.add_argument("--role", choices=ROLES, default="crew")
    new_pass.set_defaults(run=_pass)

    tags = commands.add_parser("tags", help="write tags to print as PDF")
    tags.add_argument("--out", required=True, metavar="FILE.pdf")
    tags.add_argument("codes", nargs="*", metavar="CODE", help="only these; all items otherwise")
    tags.set_defaults(run=_tags)

    _add_backups(commands)
    _add_exchange(commands)

    for name, what in (
        ("diagnose", "tell what two-ended tests found, JSON Lines in and out"),
        ("due", "tell what is due, JSON Lines in and out"),
        ("wear", "fit how items fail with use, JSON Lines in and out"),
        ("risk", "tell how probably each item is bad at an event, JSON Lines in and out"),
        ("blame", "tell what is to blame for channels that are dead, JSON Lines in and out"),
        ("trace", "tell what to try first where one channel is dead, JSON Lines in and out"),
        ("rig", "tell what a layout of microphones takes to be wired, JSON Lines in and out"),
    ):
        commands.add_parser(name, help=what).set_defaults(run=_lines, name=name)
    return parser


def _add_exchange(commands: Any) -> None:
    out = commands.add_parser("export", help="write the whole program as JSON, gear and tests as CSV")
    out.add_argument("--out", metavar="FILE.json", help="the whole program")
    out.add_argument("--csv", metavar="FOLDER", help="gear.csv and tests.csv, for spreadsheets")
    out.set_defaults(run=_export)

    into = commands.add_parser("import", help="bring in a whole program (JSON), or a sheet of gear or tests (CSV)")
    into.add_argument("file", metavar="FILE")
    into.add_argument("--dry-run", action="store_true", help="write nothing, and say what becomes of each row")
    kinds = into.add_mutually_exclusive_group()
    kinds.add_argument("--gear", dest="sheet", action="store_const", const="gear", help="the sheet is of gear")
    kinds.add_argument("--tests", dest="sheet", action="store_const", const="tests", help="the sheet is of tests")
    into.add_argument(
        "--column",
        action="append",
        default=[],
        metavar="NAME=FIELD",
        help="what a column is, as often as needed; NAME= leaves it out",
    )
    into.add_argument("--unit", choices=("feet", "meters"), help="of lengths that are bare numbers")
    into.add_argument("--dates", choices=tuple(_DATES), help="how to read dates like 10/6/2026")
    into.add_argument(
        "--kind",
        choices=tuple(KINDS),
        help="of gear whose row names none; else it stays out where the sheet tells in words what its things are",
    )
    into.add_argument(
        "--blank-place",
        choices=("same", "none"),
        help="what an empty cell below a place means: the same place, or none that is known",
    )
    into.add_argument(
        "--repaired-between",
        action=argparse.BooleanOptionalAction,
        help="whether an item that passes after a fail was repaired in between, where the sheet tells of no repair",
    )
    into.add_argument("--take-good", action="store_true", help="bring in the rows that are right, leave the others")
    into.set_defaults(run=_import)


def _add_backups(commands: Any) -> None:
    backup = commands.add_parser("backup", help="write a checked copy of the database, while the service runs")
    backup.add_argument("--to", type=Path, metavar="FOLDER", help="where to; COILBOOK_BACKUPS otherwise")
    backup.add_argument(
        "--keep",
        type=int,
        nargs=3,
        default=(7, 4, 12),
        metavar=("DAYS", "WEEKS", "MONTHS"),
        help="how many of each keep a backup; 7 4 12 otherwise",
    )
    backup.add_argument("--verify", type=Path, metavar="FILE", help="only check this one, and say what it holds")
    backup.set_defaults(run=_backup)

    restore = commands.add_parser("restore", help="put a backup in the place of the database, the service stopped")
    restore.add_argument("file", type=Path)
    restore.add_argument(
        "--replace", action="store_true", help="even where the database is not empty; it is kept beside"
    )
    restore.set_defaults(run=_restore)

    move = commands.add_parser("move", help="carry the program to another, empty database")
    move.add_argument("--to", required=True, metavar="URL", help="the other database, in SQLAlchemy's form")
    move.set_defaults(run=_move)


def _lines(options: argparse.Namespace) -> int:
    # By name, since each of them must start fast and needs nothing of the others.
    status: int = pkgutil.resolve_name(_LINES[options.name])(sys.stdin, sys.stdout)
    return status


_LINES = {
    "diagnose": "service.diagnosis.command:main",
    "due": "service.season.command:main",
    "wear": "service.wear.command:main",
    "risk": "service.wear.risk_command:main",
    "blame": "service.lines.blame_command:main",
    "trace": "service.lines.trace_command:main",
    "rig": "service.rig.command:main",
}


def _settings() -> Settings:
    return read_settings(os.environ)


def _serve(options: argparse.Namespace) -> int:
    # What is made until the application stands will stay; looking for garbage in it takes a third of the start.
    gc.disable()
    from service.serving import serve

    return serve(_settings(), options.host, options.port, options.workers, options.reload)


def _migrate(_options: argparse.Namespace) -> int:
    from service.store import migrate
    from service.store.backup import before_migration
    from service.store.sessions import in_plain_words

    settings = _settings()
    with in_plain_words():
        made = before_migration(settings.database_url, settings.backups, datetime.now(UTC))
        if made:
            print(f"Backed up {made.rows} rows to {made.path} first.")
        migrate.upgrade(settings.database_url)
    print(f"The database is at revision {migrate.head()}.")
    return 0


def _demo(_options: argparse.Namespace) -> int:
    from service.chores import CHORES
    from service.demo.actions import load
    from service.store.migrate import opened

    with opened(_settings()) as store:
        print(load(store, datetime.now(UTC), CHORES))
    return 0


def _fill(options: argparse.Namespace) -> int:
    from service.demo.fill import fill
    from service.store.migrate import opened

    with opened(_settings()) as store:
        print(fill(store, options.items, options.tests, options.rng, datetime.now(UTC)))
    return 0


def _housekeeping(options: argparse.Namespace) -> int:
    from service.chores import verify
    from service.clock import HouseTaken, turn_in_time
    from service.store.migrate import opened

    settings = _settings()
    with opened(settings) as store:
        if not options.verify:
            try:
                print(turn_in_time(store, settings, lambda words: print(f"coilbook: {words}", file=sys.stderr)))
            except HouseTaken as taken:
                print(f"coilbook: {taken.detail}", file=sys.stderr)
                return _TRY_AGAIN
            return 0
        differences = verify(store, datetime.now(UTC))
    print("\n".join(differences) or "Every cached due state, every standing and the fit of wear are what the log says.")
    return 1 if differences else 0


def _clock(_options: argparse.Namespace) -> int:
    from service.clock import run
    from service.store.migrate import opened

    settings = _settings()
    with opened(settings) as store:
        run(store, settings)
    return 0


def _token(options: argparse.Namespace) -> int:
    from service.crew import actions
    from service.crew.core import Role
    from service.store.migrate import opened

    with opened(_settings()) as store, store.writing() as db:
        token = actions.make_token(db, options.name, Role(options.role), datetime.now(UTC))
    print(f"A token for {options.name}, as {options.role}. It is shown only now:")
    print(token)
    return 0


def _pass(options: argparse.Namespace) -> int:
    from service.crew.actions import make_pass_on_command
    from service.crew.core import Role
    from service.store.migrate import opened

    settings = _settings()
    with opened(settings) as store, store.writing() as db:
        made = make_pass_on_command(db, Role(options.role), options.name, datetime.now(UTC))
    print(f"{made.label}: valid until {made.expires_at:%Y-%m-%d %H:%M} UTC. It is shown only now:")
    print(f"{settings.base_url or 'http://localhost:8000'}/join#{made.secret}")
    return 0


def _tags(options: argparse.Namespace) -> int:
    from service.exchange.files import write_whole
    from service.store.migrate import opened
    from service.tags.printing import tag_sheet

    settings = _settings()
    with opened(settings) as store, store.reading() as db:
        pdf = tag_sheet(db, options.codes, settings.base_url)
    print(write_whole(Path(options.out), [pdf]))
    return 0


def _backup(options: argparse.Namespace) -> int:
    from service.store.backup import back_up, check, existing_store, rotate
    from service.store.rotation import Keep

    if options.verify:
        contents = check(options.verify)
        print(f"{contents.path} is whole: {contents.rows} rows at revision {contents.revision}.")
        print("\n".join(f"{rows:9}  {table}" for table, rows in contents.tables.items() if rows))
        return 0
    if min(options.keep) < 0:
        raise Problem("--keep takes three counts from 0 up: of days, weeks and months.")
    settings = _settings()
    with existing_store(settings.database_url) as store:
        made = back_up(store, options.to or settings.backups, datetime.now(UTC))
    gone = rotate(made.path.parent, Keep(*options.keep), made.path)
    print(f"Backed up {made.rows} rows to {made.path}, and checked it. Older ones deleted: {len(gone)}.")
    return 0


def _restore(options: argparse.Namespace) -> int:
    from service.store.restore import restore

    settings = _settings()
    done = restore(settings.database_url, options.file, settings.backups, datetime.now(UTC), replace=options.replace)
    print(f"Restored {done.contents.rows} rows from {options.file}, and checked them.")
    if done.aside:
        print(f"What was there before is kept in {done.aside}.")
    print("Passes, sign-ins and names are as they were then: what was ended or erased since, end again under Crew.")
    return 0


def _export(options: argparse.Namespace) -> int:
    from service.exchange.files import export_files
    from service.store.migrate import opened

    with opened(_settings()) as store:
        print("\n".join(export_files(store, datetime.now(UTC), options.out, options.csv)))
    return 0


def _import(options: argparse.Namespace) -> int:
    from service.exchange.files import as_answers, import_file
    from service.store.migrate import opened

    answers = as_answers(
        sheet=options.sheet,
        columns=options.column,
        unit=options.unit,
        order=_DATES.get(options.dates),
        item_kind=options.kind,
        between=options.repaired_between,
        blank_place=options.blank_place,
        take_good=options.take_good,
    )
    with opened(_settings()) as store:
        for line in import_file(store, datetime.now(UTC), options.file, answers, dry=options.dry_run):
            print(line)
    return 0


def _move(options: argparse.Namespace) -> int:
    from service.exchange.moving import move
    from service.settings import database_url

    to = database_url(options.to, "--to")
    arrived = move(_settings().database_url, to)
    print("\n".join(f"{content.rows:9}  {table}" for table, content in arrived.items() if content.rows))
    print(
        f"All {sum(content.rows for content in arrived.values())} rows arrived, each value as it was. The old database "
        "is untouched; set COILBOOK_DATABASE_URL to the new one, then start the service."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
