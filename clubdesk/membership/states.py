"""How it goes on with a family that asks to leave."""

from clubdesk.states import States

LEAVING = States(
    "request to leave",
    first=("asked",),
    table={"asked": {"answered": "membership.answer_leaving"}, "answered": {}},
)
