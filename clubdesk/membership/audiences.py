"""Which members the club may write to together."""

from datetime import date

from clubdesk.audiences import Audience
from clubdesk.membership.selectors import members_on, paying_id, to_renew
from clubdesk.roll.selectors import people_of_families


def _members(chosen: int, on: date) -> dict[int, list[int]]:
    rows = members_on(on).filter(person__erased_on=None).order_by("person__birth_date", "person")
    return people_of_families(rows.values_list("person__household", "person"))


def _ending(chosen: int, on: date) -> dict[int, list[int]]:
    rows = [row for own in to_renew(on) for row, _ in own]
    return people_of_families((paying_id(row), row.person_id) for row in rows)


AUDIENCES = (
    Audience("members", "All members", _members),
    Audience("ending", "Whose membership ends soon, or has just ended", _ending),
)
