"""A rented locker is given up once."""

from clubdesk.states import States

RENT = States("locker rent", first=("rented",), table={"rented": {"given_up": "locker.give_up_locker"}, "given_up": {}})
