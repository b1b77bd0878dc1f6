"""The rules of a safe day that the database itself keeps."""

from clubdesk.guards import Guard, differs, kept
from clubdesk.roll.rules import not_erased, of_the_family
from clubdesk.safety.models import ASKED_OF

ERASED = "'erased'"
DAY_IS_OVER = (
    "EXISTS (SELECT 1 FROM rangeday_rangeday d WHERE d.id = NEW.range_day_id"
    " AND (d.closed_on IS NOT NULL OR d.called_off_on IS NOT NULL))"
)
IN_FORCE = (
    "(SELECT r.{column} FROM safety_dayrules r JOIN rangeday_rangeday d ON d.id = NEW.range_day_id"
    " WHERE r.since <= d.date ORDER BY r.since DESC LIMIT 1)"
)
GOOD = "c.kind = 'children' AND c.ended_on IS NULL AND c.expires_on >= d.date"
ON_DUTY = (
    "(SELECT COUNT(DISTINCT t.person_id) FROM safety_turn t JOIN rangeday_rangeday d ON d.id = t.range_day_id"
    " WHERE d.id = NEW.range_day_id AND t.ended_on IS NULL"
    f" AND EXISTS (SELECT 1 FROM safety_volunteercheck c WHERE c.person_id = t.person_id AND {GOOD}))"
)


def _lapsed() -> str:
    """The condition that a check which the duty asks for was seen once, and none of it is good on the day."""
    asked = " OR ".join(
        f"NEW.duty = '{duty.value}' AND c.kind IN ({', '.join(f'{kind.value!r}' for kind in kinds)})"
        for duty, kinds in ASKED_OF.items()
    )
    return (
        "EXISTS (SELECT 1 FROM safety_volunteercheck c JOIN rangeday_rangeday d ON d.id = NEW.range_day_id"
        f" WHERE c.person_id = NEW.person_id AND ({asked})"
        " AND NOT EXISTS (SELECT 1 FROM safety_volunteercheck g WHERE g.person_id = c.person_id AND g.kind = c.kind"
        " AND g.ended_on IS NULL AND g.expires_on >= d.date))"
    )


def _once(name: str, table: str, *columns: str, message: str) -> Guard:
    """A guard that what was written in a first column, and the rest with it, is not changed; but for erased words."""
    words = [each for each in columns if each.endswith(("reason", "_by", "whom"))]
    days = [each for each in columns if each not in words]
    changed = " OR ".join(
        [f"({differs(*days)})", *(f"NEW.{each} <> OLD.{each} AND NEW.{each} <> {ERASED}" for each in words)]
    )
    return Guard(name, table, "UPDATE", when=f"OLD.{columns[0]} IS NOT NULL AND ({changed})", message=message)


def _stays_or_goes(table: str, *columns: str, message: str) -> Guard:
    """A guard that words stay as they are until they go as a whole."""
    changed = " OR ".join(f"NEW.{each} <> OLD.{each} AND NEW.{each} <> {ERASED}" for each in columns)
    return Guard(f"{table}_words_stay", table, "UPDATE", when=changed, message=message)


INCIDENT_STAYS = "What an incident’s record says is never changed; add a note."
GUARDS = [
    *(not_erased(table) for table in ("safety_volunteercheck", "safety_turn", "safety_stay", "safety_involved")),
    *kept(
        "safety_volunteercheck",
        "check of a volunteer",
        "person_id",
        "kind",
        "expires_on",
        "verified_on",
        free=("number", "ended_on", "end_reason"),
    ),
    _stays_or_goes("safety_volunteercheck", "number", message="The number of a check stays as it was seen."),
    _once(
        "safety_check_stays_ended",
        "safety_volunteercheck",
        "ended_on",
        "end_reason",
        message="A check that is no longer good stays so; write a new one down.",
    ),
    Guard(
        "safety_check_seen_by_others",
        "safety_volunteercheck",
        "INSERT",
        when=of_the_family(
            "(SELECT p.household_id FROM roll_person p WHERE p.id = NEW.person_id)",
            "NEW.recorded_by_id",
            "NEW.recorded_at",
        ),
        message="Nobody verifies a check of their own family.",
    ),
    *kept(
        "safety_turn",
        "turn on duty",
        "range_day_id",
        "person_id",
        "duty",
        "takes_over_id",
        free=("swap_asked_on", "ended_on", "end_reason"),
    ),
    Guard(
        "safety_turn_on_a_day_to_come",
        "safety_turn",
        "INSERT",
        when=DAY_IS_OVER,
        message="This range day is closed and counted, or was called off.",
    ),
    Guard(
        "safety_turn_without_a_lapsed_check",
        "safety_turn",
        "INSERT",
        when=_lapsed(),
        message="A check that this duty asks for has lapsed; see the new one first.",
    ),
    _once(
        "safety_turn_stays_ended",
        "safety_turn",
        "ended_on",
        "end_reason",
        message="A turn that has ended stays so; put them on duty anew.",
    ),
    *kept("safety_opening", "opening of a range day", "range_day_id", "children", "needed", "on_duty", "reason"),
    Guard(
        "safety_opened_as_the_roster_says",
        "safety_opening",
        "INSERT",
        when=f"NEW.on_duty <> {ON_DUTY}",
        message="Who is on duty has changed meanwhile; load the page again.",
        holds="rangeday_rangeday d WHERE d.id = NEW.range_day_id FOR NO KEY UPDATE",
    ),
    Guard(
        "safety_opened_by_the_rules",
        "safety_opening",
        "INSERT",
        when=f"NEW.needed <> COALESCE({IN_FORCE.format(column='people')}, 0)"
        f" * ((NEW.children + COALESCE({IN_FORCE.format(column='children')}, 1) - 1)"
        f" / COALESCE({IN_FORCE.format(column='children')}, 1))",
        message="How many people a day asks for is what the club’s rules say.",
    ),
    Guard(
        "safety_day_opened_before_money_is_taken",
        "rangeday_signon",
        "INSERT",
        when="NEW.paid IN ('cash', 'card') AND NEW.corrects_id IS NULL"
        f" AND COALESCE({IN_FORCE.format(column='people')}, 0) > 0"
        " AND NOT EXISTS (SELECT 1 FROM safety_opening o WHERE o.range_day_id = NEW.range_day_id)",
        message="Nobody signs on before the day has begun: with enough people on duty, or for a reason.",
    ),
    *kept(
        "safety_stay",
        "child’s arrival",
        "range_day_id",
        "person_id",
        "came_at",
        free=("left_at", "collected_by", "agreed_by"),
    ),
    _once(
        "safety_stay_left_once",
        "safety_stay",
        "left_at",
        "collected_by",
        "agreed_by",
        message="When a child left, and with whom, is never changed.",
    ),
    *kept("safety_weathernote", "note on the weather", "range_day_id", "kind", "words"),
    *kept(
        "safety_incident",
        "record of an incident",
        "kind",
        "happened_on",
        "happened_at",
        "at_risk",
        "kept_until",
        free=("place", "what", "first_aid", "told_on", "told_whom"),
    ),
    _stays_or_goes("safety_incident", "place", "what", "first_aid", message=INCIDENT_STAYS),
    _once(
        "safety_incident_told_once",
        "safety_incident",
        "told_on",
        "told_whom",
        message="When a guardian was told is never changed; add a note.",
    ),
    *kept("safety_involved", "part of an incident", "incident_id", "part", "person_id", "kit_id", free=("name",)),
    _stays_or_goes("safety_involved", "name", message=INCIDENT_STAYS),
    Guard(
        "safety_involved_kit_is_set_aside",
        "safety_involved",
        "INSERT",
        when="EXISTS (SELECT 1 FROM rangeday_kit k WHERE k.id = NEW.kit_id AND k.state = 'usable')",
        message="A piece of kit that was part of an incident is set aside first.",
    ),
    *kept("safety_incidentnote", "note to an incident", "incident_id", "noted_on", free=("words",)),
    _stays_or_goes("safety_incidentnote", "words", message=INCIDENT_STAYS),
]
