"""What the house says at its start: each thing that a room forgot to tell, as a system check that names it.

Each module looks at one register and yields a sentence a fault; none of them knows a room.
"""

from collections.abc import Callable, Iterator
from typing import Any

from django.core.checks import CheckMessage, Error

from clubdesk.desk.house import commands, documents, finding, letters, menus, pages, people, permissions, sheets

LOOKS: tuple[Callable[[], Iterator[str]], ...] = (
    menus.every_room_tells_of_itself,
    menus.every_list_stands_in_a_menu,
    menus.every_address_is_known,
    documents.every_document_is_kept,
    documents.every_table_of_states_is_guarded,
    documents.every_state_has_its_verb,
    pages.every_page_has_its_own_address,
    pages.every_form_fits_its_verb,
    commands.every_command_names_its_verb,
    permissions.every_permission_exists,
    permissions.every_permission_is_somebodys,
    finding.every_search_box_says_what_it_finds,
    finding.every_list_of_every_day_is_searched,
    finding.every_finder_leads_on,
    finding.every_finder_is_told_from_others,
    people.every_row_about_a_person_is_declared,
    people.every_text_about_a_person_is_declared,
    sheets.every_room_with_documents_shows_a_sheet,
    sheets.every_sheet_has_its_own_name_and_place,
    letters.every_kind_of_letter_has_its_own_key,
    letters.every_first_text_is_a_letter,
)


def faults() -> Iterator[str]:
    """A sentence for each thing that was forgotten."""
    for look in LOOKS:
        yield from look()


def check_the_house(app_configs: Any, **given: Any) -> list[CheckMessage]:
    return [Error(sentence, id="fletchbook.E001") for sentence in faults()]
