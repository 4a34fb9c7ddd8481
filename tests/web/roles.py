"""Who may do what: every route and method of the service, by the least role that reaches it.

A new route has to be given its row here, or `test_roles.py` fails. `NOBODY` are routes that ask nobody's name and read
nothing of the program's.
"""

from service.crew.core import Role

NOBODY = """
GET /healthz
GET /readyz
GET /static/m-{version}/{path:path}
GET /static/{path:path}
"""

STRANGER = """
GET /
GET /T/{code}
GET /calendar/{secret}.ics
GET /cautions
GET /find
GET /join
GET /kept
POST /join
GET /manifest.webmanifest
GET /offline
GET /sign-in
POST /sign-in
POST /sign-out
GET /sw.js
GET /t/{code}
GET /take-over
POST /take-over
"""

VIEWER = """
GET /api/v1/due
GET /api/v1/items
GET /api/v1/items/{code}
GET /api/v1/pull
GET /api/v1/tests
GET /digest
GET /due
GET /gear
GET /gear/{code}
GET /me
POST /me/address
POST /me/name
POST /me/devices/{device_id}/end
POST /me/other-devices/end
GET /more
GET /places
GET /places/{place_id}/walk
GET /pull
GET /pull/{event_id}
GET /risk
GET /risk/{event_id}
GET /season
GET /season/events/{event_id}
GET /season/{season_id}
GET /sessions
GET /sessions/{session_id}
GET /sessions/{session_id}/count
GET /sessions/{session_id}/count/{place}
GET /sessions/{session_id}/progress
GET /testers
GET /testers/{tester_id}
GET /tests
GET /tests/{test_id}
GET /wear
GET /wirings
GET /wirings/{key}
GET /pull/{event_id}/list.csv
GET /pull/{event_id}/find
GET /pull/{event_id}/items/{named}
GET /pull/{event_id}/prints/{print_id}
GET /spares
GET /buying
GET /buying.csv
GET /inputs
GET /inputs/{list_id}
GET /inputs/{list_id}/sheet.csv
GET /cards
GET /inputs/{list_id}/cards
GET /inputs/{list_id}/cards.pdf
GET /channels/{channel_id}
GET /api/v1/input-lists
GET /api/v1/input-lists/{list_id}
"""

CREW = """
GET /line-checks
POST /line-checks
GET /line-checks/lessons
GET /line-checks/{check_id}
POST /line-checks/{check_id}/heard
POST /line-checks/{check_id}/end
GET /line-checks/{check_id}/blame
GET /line-checks/{check_id}/channels/{channel_id}
POST /line-checks/{check_id}/channels/{channel_id}/cause
GET /api/v1/line-checks/{check_id}
GET /api/v1/line-checks/{check_id}/package
GET /drills
POST /drills
GET /drills/{drill_id}
POST /drills/{drill_id}/done
POST /drills/{drill_id}/end
GET /api/v1/drills
GET /api/v1/drills/{drill_id}
POST /api/v1/stations-done
POST /api/v1/heard
POST /api/v1/causes
GET /api/v1/sessions/{session_id}/package
POST /api/v1/suspects
POST /api/v1/swaps
POST /api/v1/tests
POST /api/v1/marks
POST /tests/{test_id}/wrong
GET /api/v1/wirings
GET /api/v1/wirings/{key}
POST /gear/{code}/notes
GET /places/{place_id}/crackled
POST /places/{place_id}/crackled
GET /scan
POST /scan
GET /sessions/{session_id}/line
GET /sessions/{session_id}/next
POST /sessions/{session_id}/next
POST /sessions/{session_id}/seen
GET /sessions/{session_id}/take/{code}
POST /sessions/{session_id}/take/{code}
POST /sessions/{session_id}/unseen
POST /sessions/{session_id}/walked
GET /swap
POST /swap
GET /swap/{swap_id}
POST /t/{code}/crackled
GET /t/{code}/ends
GET /t/{code}/lamps
POST /t/{code}/lamps
GET /t/{code}/lanes
POST /t/{code}/lanes
GET /t/{code}/not-this
POST /t/{code}/not-this
GET /t/{code}/phantom
POST /t/{code}/phantom
GET /t/{code}/repair
POST /t/{code}/repair
GET /t/{code}/test
POST /t/{code}/test
GET /t/{code}/where
POST /t/{code}/where
POST /t/{code}/worn
POST /api/v1/pull/ticks
POST /pull/{event_id}/ticks
POST /pull/{event_id}/ticks/{tick_id}/undo
POST /pull/{event_id}/prints
"""

LEAD = """
POST /api/v1/items
GET /api/v1/openapi.json
GET /calendar
POST /calendar/links
POST /calendar/links/{link_id}/end
GET /crew
POST /crew/passes
GET /crew/passes/{pass_id}/end
POST /crew/passes/{pass_id}/end
GET /crew/people/{person_id}/end
POST /crew/people/{person_id}/end
GET /crew/people/{person_id}/erase
POST /crew/people/{person_id}/erase
GET /crew/trail
GET /exchange
POST /exchange/check
POST /exchange/columns
GET /exchange/gear.csv
POST /exchange/import
GET /exchange/imports/{op}
GET /exchange/imports/{op}/progress
POST /exchange/left
GET /exchange/program.json
POST /exchange/sheet
GET /exchange/tests.csv
GET /gear/new
POST /gear/new
GET /gear/{code}/edit
POST /gear/{code}/edit
GET /gear/{code}/place
POST /gear/{code}/place
GET /handover
POST /handover/links
POST /handover/links/{link_id}/end
POST /me/passphrase
POST /places
GET /places/{place_id}
POST /places/{place_id}
POST /places/{place_id}/move
GET /places/{place_id}/remove
POST /places/{place_id}/remove
GET /plan
POST /plan
POST /season/events/{event_id}
POST /season/events/{event_id}/drop
GET /season/new
POST /season/new
GET /season/{season_id}/change
POST /season/{season_id}/change
GET /season/{season_id}/copy
POST /season/{season_id}/copy
POST /season/{season_id}/events
GET /season/{season_id}/items
POST /season/{season_id}/items
POST /sessions
GET /sessions/new
GET /sessions/{session_id}/change
POST /sessions/{session_id}/change
GET /sessions/{session_id}/close
POST /sessions/{session_id}/close
GET /sessions/{session_id}/count/close
POST /sessions/{session_id}/count/close
POST /sessions/{session_id}/found
POST /sessions/{session_id}/moved
POST /sessions/{session_id}/pass
GET /settings
POST /settings
GET /t/{code}/retag
POST /t/{code}/retag
GET /t/{code}/state
POST /t/{code}/state
GET /tags
GET /tags/places
POST /tags/places
GET /tags/preview
POST /tags/printed
GET /tags/printer
POST /tags/printer
GET /tags/printer.pdf
GET /tags/sheet.pdf
GET /tags/sheets
POST /tags/sheets
POST /tags/sheets/{sheet_id}/end
GET /testers/new
POST /testers/new
POST /testers/{tester_id}/end
POST /tests/{test_id}/void
POST /tests/{test_id}/stands
POST /wear
GET /wirings/new
POST /wirings/new
POST /wirings/{key}/end
GET /pull/limits
POST /pull/limits
GET /prices
POST /prices
POST /spares
POST /pull/{event_id}/items/{named}/overrule
POST /inputs
GET /inputs/{list_id}/channels/new
POST /inputs/{list_id}/channels/new
GET /inputs/{list_id}/sheet
POST /inputs/{list_id}/sheet
POST /channels/{channel_id}
POST /channels/{channel_id}/line
POST /channels/{channel_id}/joints
POST /channels/{channel_id}/end
POST /api/v1/input-lists
POST /api/v1/input-lists/{list_id}/channels
POST /api/v1/channels/{channel_id}
POST /api/v1/channels/{channel_id}/end
"""

NEEDED: dict[str, Role | None] = {
    row: role
    for role, rows in (
        (None, NOBODY),
        (Role.STRANGER, STRANGER),
        (Role.VIEWER, VIEWER),
        (Role.CREW, CREW),
        (Role.LEAD, LEAD),
    )
    for row in rows.strip().splitlines()
}
