"""The wear report, class by class, in words: failures expected in coming seasons, what reduces them, and survival."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from string import ascii_uppercase
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.gear.core import KINDS
from service.gear.queries import ItemFacts, item_facts
from service.kit.quantities import format_share
from service.season.models import SeasonRow
from service.store.changes import unless_changed
from service.tags.queries import codes_of
from service.wear.chart import Picture, draw_together
from service.wear.core.classes import Fitted, JudgedClass, Path, class_models, in_order, judged, pooled, steps_of
from service.wear.core.fleet import Fleet, SeasonAhead
from service.wear.core.lives import Life
from service.wear.core.turnbull import Steps
from service.wear.curve import ClassShares
from service.wear.fits import find_fit
from service.wear.future_seasons import SeasonToCome, fleets, seasons_to_come
from service.wear.queries import WearRecord, known_lives, lives_by_class, records

NAMED = 5
"""At most so many of the items to be replaced are named."""


@dataclass(frozen=True)
class ClassSeason:
    """A class in a season: how many of 1,000 are failed and undetected on average, in words, with its 95 % range.

    `enough`: that is within the target. `sure`: the whole range is on the same side of the target.
    """

    season: SeasonToCome
    bad: str
    range: str
    enough: bool
    sure: bool
    ahead: SeasonAhead


@dataclass(frozen=True)
class WornClass:
    """A class in words, with its counts: failures, lives, items in use, and those of them with an unknown state.

    `by` names the wider class whose model is used ("" for its own); `assumed`: there is no fit, only the prior.
    `grows`: failures get likelier with use (None: unknown). `first` are the items to replace first, where replacing
    before a season helps. `curve` is the letter of its curve in the picture ("": it has none).
    """

    name: str
    failures: int
    lives: int
    in_use: int
    unknown: int
    by: str
    assumed: bool
    grows: bool | None
    seasons: Sequence[ClassSeason]
    first: Sequence[UUID]
    curve: str

    @property
    def short(self) -> ClassSeason | None:
        """The first season that misses the target."""
        return next((each for each in self.seasons if not each.enough), None)


@dataclass(frozen=True)
class Report:
    """The seasons reported, every class with lives or items in use, and pictures of the fitted classes.

    `items` are the items that the classes name, with their codes. `fitted_at` is when the fit was made that it rests on
    (None: on the spot).
    """

    seasons: Sequence[SeasonToCome]
    classes: Sequence[WornClass]
    pictures: Sequence[Picture]
    items: Mapping[UUID, tuple[ItemFacts, str]]
    fitted_at: datetime | None


def report(db: Session, zone: ZoneInfo, row: SeasonRow, today: date, per_mille: int) -> Report:
    """The wear report (see `_report`), made anew where anything was written since the last time."""
    key = "wear report", zone.key, row.id, today, per_mille
    return unless_changed(db, key, lambda: _report(db, zone, row, today, per_mille))


def _report(db: Session, zone: ZoneInfo, row: SeasonRow, today: date, per_mille: int) -> Report:
    """The report for what is left of the season of `row`, and for the seasons after it."""
    records_now, coming = records(db, zone), seasons_to_come(db, row, today)
    stored = find_fit(db)
    known = known_lives(records_now)
    by_class = lives_by_class((stored.fit.items if stored else known).values())
    for path, _ in known.values():
        by_class.setdefault(path, [])  # an item may be of a class that the fit does not know
    if not any(by_class.values()):
        return Report(coming, [], [], {}, None)
    in_use: dict[Path, dict[UUID, WearRecord]] = defaultdict(dict)
    for item_id, item in records_now.items():
        if item.in_use:
            in_use[item.path][item_id] = item
    models = stored.models if stored else class_models(by_class)
    classes, pool = judged(by_class, models), pooled(by_class)
    fits = {each.by: each.fitted for each in classes if each.by and each.fitted}
    letters = {path: _letter(number) for number, path in enumerate(sorted(fits))}
    worn = [
        _class_wear(each, pool[each.path[:1]], in_use[each.path], coming, today, per_mille, letters)
        for each in classes
        if each.lives or in_use[each.path]
    ]
    named = [item_id for each in worn for item_id in each.first]
    facts, codes = item_facts(db, named), codes_of(db, named)
    pictures = [
        _picture(
            kind,
            tuple((path, letters[path], fits[path], steps_of(in_order(pool[path]))) for path in paths),
            models.otherwise.intersection(paths),
            (row.ends - row.starts).days + 1,
        )
        for kind, paths in _by_kind(letters).items()
    ]
    items = {item_id: (facts[item_id], codes.get(item_id, "")) for item_id in named}
    return Report(coming, worn, pictures, items, stored.fitted_at if stored else None)


def _class_wear(
    each: JudgedClass,
    of_kind: Sequence[Life],
    in_use: Mapping[UUID, WearRecord],
    coming: Sequence[SeasonToCome],
    today: date,
    per_mille: int,
    letters: Mapping[Path, str],
) -> WornClass:
    from service.wear.core.prior import assumed  # numpy would slow the start of every command

    fitted = each.fitted or assumed(in_order(of_kind))
    by_tests = fleets(in_use, coming, today)
    item_ids = [item_id for _, ids in by_tests for item_id in ids]
    seasons = _seasons_ahead(fitted, tuple(fleet for fleet, _ in by_tests), per_mille) if item_ids else ()
    replaced = next((season.replaced for season in seasons if season.replaced), ())
    shapes = [model.shape for model in fitted.edge]
    return WornClass(
        name=in_words(each.path),
        failures=each.failures,
        lives=each.lives,
        in_use=len(in_use),
        unknown=len(in_use) - len(item_ids),
        by=in_words(each.by) if each.by and each.by != each.path else "",
        assumed=each.fitted is None,
        grows=True if min(shapes) > 1 else False if max(shapes) < 1 else None,
        seasons=[_in_season(*pair, per_mille) for pair in zip(coming, seasons, strict=False)],
        first=[item_ids[number] for number in replaced[:NAMED]],
        curve=letters[each.by] if each.by else "",
    )


def _letter(number: int) -> str:
    """A, B, …, Z, A2, B2, …"""
    turn, letter = divmod(number, len(ascii_uppercase))
    return ascii_uppercase[letter] + (str(turn + 1) if turn else "")


def _by_kind(paths: Iterable[Path]) -> dict[str, list[Path]]:
    paths_of: dict[str, list[Path]] = defaultdict(list)
    for path in paths:
        paths_of[path[0]].append(path)
    return paths_of


@lru_cache(maxsize=16)
def _picture(
    kind: str, classes: tuple[tuple[Path, str, Fitted, Steps], ...], otherwise: frozenset[Path], season_days: int
) -> Picture:
    """The picture of a kind, cached: it changes only with the fit."""
    plural = KINDS[kind].plural
    return draw_together(
        in_words((kind,)),
        {letter: ClassShares(in_words(path), plural, fitted, steps) for path, letter, fitted, steps in classes},
        {letter for path, letter, _, _ in classes if path in otherwise},
        season_days,
    )


@lru_cache(maxsize=256)
def _seasons_ahead(fitted: Fitted, of_class: tuple[Fleet, ...], per_mille: int) -> list[SeasonAhead]:
    """The forecast of a class, cached: within a day it changes only with a test."""
    from service.wear.core.forecast import ahead  # numpy would slow every start

    return ahead(fitted, of_class, per_mille / 1000)


def _in_season(season: SeasonToCome, season_ahead: SeasonAhead, per_mille: int) -> ClassSeason:
    target = per_mille / 1000
    shares = season_ahead.bad, season_ahead.least, season_ahead.most
    bad, least, most = (format_share(share, *shares, limit=target, of=1000) for share in shares)
    return ClassSeason(
        season,
        bad,
        f"{least} to {most}",
        season_ahead.bad <= target,
        (season_ahead.most <= target) if season_ahead.bad <= target else season_ahead.least > target,
        season_ahead,
    )


def in_words(path: Path) -> str:
    """A class as pages name it: "Cables, XLR, strapped to a frame, Lot 1"."""
    plural = KINDS[path[0]].plural
    return ", ".join([plural[:1].upper() + plural[1:], *path[1:]])
