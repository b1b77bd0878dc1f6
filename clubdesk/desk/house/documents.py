"""Documents: each is kept by the database, column by column, and moves along its table of states."""

from collections.abc import Iterator

from django.apps import apps

from clubdesk import guards, states
from clubdesk.ledger.models import Document
from clubdesk.verbs import VERBS


def documents() -> Iterator[type[Document]]:
    """Every kind of document that has a table."""
    return (model for model in apps.get_models() if issubclass(model, Document))


def every_document_is_kept() -> Iterator[str]:
    for model in documents():
        table = model._meta.db_table
        kept = guards.KEPT.get(table)
        if kept is None:
            yield f"{model._meta.label} is guarded against nothing: name its columns with guards.kept in its rules."
            continue
        columns = {str(field.column) for field in model._meta.concrete_fields}
        named = [*kept.columns, *kept.free]
        for column in sorted(columns - set(named)):
            yield f"{model._meta.label}.{column} is neither kept nor free: name it in guards.kept({table!r}, …)."
        for column in sorted(set(named) - columns):
            yield f"guards.kept({table!r}, …) names {column}, which {model._meta.label} does not have."
        for column in sorted({each for each in named if named.count(each) > 1}):
            yield f"guards.kept({table!r}, …) names {column} twice."


def every_table_of_states_is_guarded() -> Iterator[str]:
    guarded = [found for found, _ in states.GUARDED.values()]
    for table in states.ALL:
        if not any(found is table for found in guarded):
            yield f"No guard holds a {table.noun} to its states: add those of its table to GUARDS in its room's rules."


def every_state_has_its_verb() -> Iterator[str]:
    for table in states.ALL:
        for before, after, name in table.pairs():
            if name not in VERBS:
                yield f"A {table.noun} goes from {before} to {after} by {name}, which is no verb."
