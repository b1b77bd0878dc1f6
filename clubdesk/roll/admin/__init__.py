"""Screens of the roll, one module a noun."""

from clubdesk.roll.admin import merges as merges
from clubdesk.roll.admin import people as people
