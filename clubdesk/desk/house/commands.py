"""Commands: each is made of a verb of the register, or only asks; what it reads is what its verb takes."""

import inspect
import typing
from collections.abc import Callable, Iterator

from django.apps import apps
from django.conf import settings
from django.core.management import get_commands, load_command_class
from django.core.management.base import BaseCommand

from clubdesk.desk.house.pages import without_none
from clubdesk.shell import QuestionCommand, VerbCommand
from clubdesk.verbs import VERBS, Verb


def commands() -> Iterator[tuple[str, BaseCommand]]:
    """Every command of a room, by its name."""
    ours = {apps.get_app_config(label).name for label in settings.ROOMS}
    for name, app in sorted(get_commands().items()):
        if app in ours:
            yield name, load_command_class(app, name)


def every_command_names_its_verb() -> Iterator[str]:
    for name, command in commands():
        yield from (f"The command {name} {fault}" for fault in misfits(command))


def misfits(command: BaseCommand) -> Iterator[str]:
    """Where a command is of no verb, or gives its verb what that does not take."""
    if isinstance(command, VerbCommand):
        yield from _misfits_of_verb(command)
    elif not isinstance(command, QuestionCommand) and not getattr(command, "why_no_verb", ""):
        yield "is neither a VerbCommand nor a QuestionCommand: name its verb, or say in why_no_verb why it has none."


def _misfits_of_verb(command: VerbCommand[object]) -> Iterator[str]:
    verb = getattr(getattr(type(command), "verb", None), "verb", None)
    if not isinstance(verb, Verb) or VERBS.get(verb.name) is not verb:
        yield "names no verb of the register."
        return
    if command.has_dry_run and not verb.whole:
        yield f"has a dry run, and {verb.name} saves each part by itself."
    hints = typing.get_type_hints(inspect.unwrap(verb.function))
    given = {name: read for argument in command.takes for name, read in argument.gives.items()}
    for name, read in given.items():
        if name not in verb.parameters:
            yield f"gives {name}, which {verb.name} does not take."
        elif not _fits(read, hints[name]):
            yield f"gives {name} as what {read.__name__} makes, and {verb.name} takes {hints[name]}."
    for name, parameter in verb.parameters.items():
        if parameter.default is inspect.Parameter.empty and name not in {*given, "by"}:
            yield f"does not give {name}, which {verb.name} needs."


def _fits(read: Callable[[str], object], hint: object) -> bool:
    made = read if isinstance(read, type) else typing.get_type_hints(read)["return"]
    plain = without_none(hint)
    return isinstance(plain, type) and issubclass(made, plain)
