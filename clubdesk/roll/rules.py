"""The rules about the roll that the database itself keeps."""

from collections.abc import Iterator

from django.apps import apps

from clubdesk.guards import MOVED, Guard, changes, differs, kept, replaces_nothing

MERGED = (
    "EXISTS (SELECT 1 FROM roll_movedrow m JOIN roll_merge g ON g.id = m.merge_id"
    " WHERE m.table_name = '{{table}}' AND m.column_name = '{{column}}' AND m.row_id = OLD.id AND"
    " (g.undone_on IS NULL AND g.other_{kind}_id = OLD.{{column}} AND g.{kind}_id = NEW.{{column}}"
    " OR g.undone_on IS NOT NULL AND g.{kind}_id = OLD.{{column}} AND g.other_{kind}_id = NEW.{{column}}))"
)
KINDS = {"roll.Household": "household", "roll.Person": "person"}
MOVED.update({label: MERGED.format(kind=kind) for label, kind in KINDS.items()})


def not_erased(table: str) -> Guard:
    """A guard that nothing new is written about a person whose details were erased; erasing waits for who writes."""
    return Guard(
        f"{table}_of_somebody_known",
        table,
        "INSERT",
        when="EXISTS (SELECT 1 FROM roll_person p WHERE p.id = NEW.person_id AND p.erased_on IS NOT NULL)",
        message="The details of this person were erased; add them to the roll anew.",
        holds="roll_person p WHERE p.id = NEW.person_id FOR KEY SHARE",
    )


def about_those_who_stand() -> Iterator[Guard]:
    """Guards, one a column that leads to a person or a family, that nothing new is written about one that was merged.

    They are made of the tables that there are, so that a new kind of document has its own.
    """
    for model in apps.get_models(include_auto_created=True):
        for field in model._meta.concrete_fields:
            related = field.related_model
            kind = KINDS.get(related._meta.label) if isinstance(related, type) else None
            if kind is None or model._meta.model_name == "merge" or field.name == "merged_into":
                continue
            table, column = model._meta.db_table, field.column
            row = f"roll_{kind} k WHERE k.id = NEW.{column}"
            yield Guard(
                f"{table}_{field.name}_stands",
                table,
                "INSERT",
                when=f"EXISTS (SELECT 1 FROM {row} AND k.merged_into_id IS NOT NULL)",
                message=f"This {'family' if kind == 'household' else kind} was merged into another; choose that one.",
                holds=f"{row} FOR KEY SHARE",
            )


def merged_by_a_merge(kind: str) -> Guard:
    """A guard that a row says that it was merged into another only as a merge says so that stands, or was undone."""
    says = (
        f"EXISTS (SELECT 1 FROM roll_merge g WHERE g.other_{kind}_id = NEW.id AND (g.undone_on IS NULL AND"
        f" g.{kind}_id = NEW.merged_into_id OR g.undone_on IS NOT NULL AND g.{kind}_id = OLD.merged_into_id"
        " AND NEW.merged_into_id IS NULL))"
    )
    return Guard(
        f"roll_{kind}_merged_by_a_merge",
        f"roll_{kind}",
        "UPDATE",
        when=f"({changes(f'roll_{kind}', 'merged_into_id')}) AND NOT {says}",
        message="Two become one by their own page, which moves all that was the other’s.",
    )


def of_the_family(household: str, user: str, since: str) -> str:
    """The condition that the user belongs to the family, or did at the moment `since` or after it; each is SQL."""
    return (
        f"EXISTS (SELECT 1 FROM roll_belonging u WHERE u.household_id = {household} AND u.user_id = {user}"
        f" AND (u.ended_at IS NULL OR u.ended_at >= {since}))"
    )


GUARDS = [
    Guard(
        "roll_belonging_keeps",
        "roll_belonging",
        "UPDATE",
        when=f"{changes('roll_belonging', 'id', 'household_id', 'user_id', 'added_at', 'added_by_id')}"
        f" OR OLD.ended_at IS NOT NULL AND ({differs('ended_at', 'ended_by_id')}) OR NEW.ended_at < OLD.added_at",
        message="Who belongs to a family is history: it is ended once, and never changed.",
    ),
    Guard(
        "roll_belonging_stays",
        "roll_belonging",
        "DELETE",
        message="Who belonged to a family is never deleted.",
    ),
    replaces_nothing("roll_belonging", "belonging"),
    Guard(
        "roll_guardian_new_address_new_link",
        "roll_guardian",
        "UPDATE OF email",
        when="NEW.email <> OLD.email",
        does="UPDATE roll_guardian SET link_version = link_version + 1 WHERE id = NEW.id",
    ),
    Guard(
        "roll_guardian_link_stays_ended",
        "roll_guardian",
        "UPDATE",
        when="NEW.link_version < OLD.link_version",
        message="The links of this family were ended meanwhile; load the page again.",
    ),
    Guard(
        "roll_consent_keeps",
        "roll_consent",
        "UPDATE",
        when=changes("roll_consent", "id", "key", "household_id", "wording", "given_at")
        + " OR NEW.given_by <> OLD.given_by AND NEW.given_by <> 'Erased'",
        message="A consent is never changed; a new one is given.",
    ),
    Guard("roll_consent_stays", "roll_consent", "DELETE", message="A consent is never deleted."),
    replaces_nothing("roll_consent", "consent"),
    *kept("roll_newschoice", "choice", "household_id", "wanted", "wording", "version", "said_at", free=("said_by",)),
    Guard(
        "roll_newschoice_says_by_whom",
        "roll_newschoice",
        "UPDATE OF said_by",
        when="NEW.said_by <> OLD.said_by AND NEW.said_by <> 'Erased'",
        message="Who said so stays written.",
    ),
    *kept(
        "roll_merge",
        "merge",
        "household_id",
        "other_household_id",
        "person_id",
        "other_person_id",
        "merged_on",
        "moves_money",
        free=("undone_on",),
    ),
    Guard(
        "roll_merge_stays_undone",
        "roll_merge",
        "UPDATE",
        when="OLD.undone_on IS NOT NULL AND (NEW.undone_on IS NULL OR NEW.undone_on <> OLD.undone_on)",
        message="A merge that was undone stays so; merge the two again.",
    ),
    Guard(
        "roll_movedrow_of_a_merge_that_stands",
        "roll_movedrow",
        "INSERT",
        when="EXISTS (SELECT 1 FROM roll_merge g WHERE g.id = NEW.merge_id AND g.undone_on IS NOT NULL)",
        message="A merge that was undone moves nothing more.",
    ),
    Guard("roll_movedrow_keeps", "roll_movedrow", "UPDATE", message="What a merge moved stays written."),
    Guard("roll_movedrow_stays", "roll_movedrow", "DELETE", message="What a merge moved stays written."),
    replaces_nothing("roll_movedrow", "moved row"),
    *(merged_by_a_merge(kind) for kind in KINDS.values()),
    *about_those_who_stand(),
]
