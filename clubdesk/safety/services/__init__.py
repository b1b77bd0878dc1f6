"""Verbs of a safe day: the roster, checks, how a day begins, who is there, incidents."""

from clubdesk.safety.services.checks import end_check, tell_lapsing, write_check
from clubdesk.safety.services.incidents import (
    add_to_incident,
    forget_incidents,
    note_guardian_told,
    note_incident,
    record_incident,
)
from clubdesk.safety.services.opening import open_day
from clubdesk.safety.services.roster import (
    Roster,
    ask_for_swap,
    plan_turns,
    put_on_duty,
    take_off_duty,
    take_over,
    tell_turns,
)
from clubdesk.safety.services.staying import note_arrival, note_leaving
from clubdesk.safety.services.weather import note_weather

__all__ = [
    "Roster",
    "add_to_incident",
    "ask_for_swap",
    "end_check",
    "forget_incidents",
    "note_arrival",
    "note_guardian_told",
    "note_incident",
    "note_leaving",
    "note_weather",
    "open_day",
    "plan_turns",
    "put_on_duty",
    "record_incident",
    "take_off_duty",
    "take_over",
    "tell_lapsing",
    "tell_turns",
    "write_check",
]
