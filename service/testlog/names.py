"""The chore that lets students' names go, ninety days after the season in which they last helped."""

from datetime import date, datetime

from sqlalchemy.orm import Session

from service.crew import queries as crew
from service.crew.models import Person
from service.crew.privacy import queries as keeping
from service.crew.privacy.actions import let_go
from service.crew.privacy.core import kept_until
from service.kit.dates import local_date
from service.season.queries import seasons
from service.testlog.housekeeping import zone_of
from service.testlog.queries import last_logged


def let_names_go(db: Session, today: date, now: datetime) -> int:
    """Turn the names that are kept no more into "Tester n"; how many there were."""
    zone = zone_of(db)
    spans = [(season.starts, season.ends) for season in seasons(db)]

    def over(last: datetime) -> bool:
        return kept_until(local_date(last, zone), spans) <= today

    came = {person_id: at for person_id, at in keeping.named_crew(db) if over(at)}
    logged = last_logged(db, came.keys()) if came else {}
    gone = [person_id for person_id, at in came.items() if over(max(at, logged.get(person_id, at)))]
    for person_id in gone:
        let_go(db, db.get_one(Person, person_id), now)
        crew.note_in_audit(db, now, None, "person.name_let_go", str(person_id))
    return len(gone)
