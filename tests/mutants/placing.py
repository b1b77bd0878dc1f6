"""Put a changed module in the place of the loaded one, so that whoever imported something of it runs the change."""

import ast
import gc
import sys
from collections.abc import Iterator
from functools import cache
from types import CodeType, FunctionType

from tests.mutants.changes import constants_in


def put_in_place(name: str, before: str, after: str) -> None:
    """Give each loaded function of the module `name` its changed code, and each changed constant its value.

    Raises LookupError where nothing that is loaded comes of the text that changed.
    """
    old, new = compile(before, name, "exec"), compile(after, name, "exec")
    changed = {was: becomes for was, becomes in _pairs(old, new) if was != becomes}
    count = 0
    for function in loaded_functions().get(name, ()):
        if function.__code__ in changed:
            function.__code__ = changed[function.__code__]
            count += 1
    count += _constants(name, ast.parse(before), ast.parse(after))
    if not count:
        raise LookupError(f"Nothing of {name} that is loaded is what changed.")


@cache
def loaded_functions() -> dict[str, list[FunctionType]]:
    """All functions of the club's modules, by module; looked for once, since it goes through all that is in memory."""
    found: dict[str, list[FunctionType]] = {}
    gc.unfreeze()  # what the tests froze after they were collected is in no list of objects
    for each in gc.get_objects():
        if type(each) is FunctionType and (each.__module__ or "").startswith("clubdesk"):
            found.setdefault(each.__module__, []).append(each)
    return found


def _pairs(old: CodeType, new: CodeType) -> Iterator[tuple[CodeType, CodeType]]:
    """Each function's code with what it becomes, those inside others too."""
    inside = [[each for each in code.co_consts if isinstance(each, CodeType)] for code in (old, new)]
    if [each.co_qualname for each in inside[0]] == [each.co_qualname for each in inside[1]]:
        for was, becomes in zip(*inside, strict=True):
            yield was, becomes
            yield from _pairs(was, becomes)


def _constants(name: str, before: ast.Module, after: ast.Module) -> int:
    """Change the module's constants here and wherever they were imported; how many changed."""
    count = 0
    for was, becomes in zip(before.body, after.body, strict=True):
        names = constants_in(was)
        if not names or ast.dump(was) == ast.dump(becomes):
            continue
        known = dict(vars(sys.modules[name]))
        exec(compile(ast.Module([becomes], []), name, "exec"), known)
        for each in names:
            old = getattr(sys.modules[name], each)
            for module in list(sys.modules.values()):
                if getattr(module, each, None) is old:
                    setattr(module, each, known[each])
                    count += 1
    return count
