"""Verbs of the roll, one module a part of the work."""

from clubdesk.roll.services.merging import merge_families as merge_families
from clubdesk.roll.services.merging import merge_people as merge_people
from clubdesk.roll.services.merging import undo_merge as undo_merge
from clubdesk.roll.services.people import add_household as add_household
from clubdesk.roll.services.people import add_person as add_person
from clubdesk.roll.services.people import add_to_family as add_to_family
from clubdesk.roll.services.people import agree_to_news as agree_to_news
from clubdesk.roll.services.people import end_links as end_links
from clubdesk.roll.services.people import end_news as end_news
from clubdesk.roll.services.people import forget_household as forget_household
from clubdesk.roll.services.people import one_new_family_at_a_time as one_new_family_at_a_time
from clubdesk.roll.services.people import save_household as save_household
from clubdesk.roll.services.people import take_off_family as take_off_family
