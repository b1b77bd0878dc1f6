"""What may be changed in the functions of a module, one change at a time; the rest of the text stays to the letter."""

import ast
import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import accumulate

FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)
TURNED: dict[type[ast.cmpop], tuple[str, tuple[str, ...]]] = {
    ast.Eq: ("==", ("!=",)),
    ast.NotEq: ("!=", ("==",)),
    ast.Lt: ("<", ("<=", ">=")),
    ast.LtE: ("<=", ("<", ">")),
    ast.Gt: (">", (">=", "<=")),
    ast.GtE: (">=", (">", "<")),
    ast.In: ("in", ("not in",)),
    ast.NotIn: ("not in", ("in",)),
    ast.Is: ("is", ("is not",)),
    ast.IsNot: ("is not", ("is",)),
}
SWAPPED: dict[type[ast.operator], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.BitAnd: ("&", "|"),
    ast.BitOr: ("|", "&"),
}
NARROWS = ("filter", "exclude")
LOCKS = ("queue", "queue_all", "lock_book", "lock_charges", "locked", "select_for_update")
GIVES_BACK_WHAT_IT_LOCKS = ("queue", "locked")
CHANGES_NOTHING = ("strict", "no_key", "of", "batch_size", "chunk_size", "flat")
"""Arguments that no figure hangs on."""
LONG_TEXT = 100


@dataclass(frozen=True)
class Change:
    """Bytes `start` to `end` of the text become `after`; a test meets it that runs a line of `spans` (first, last)."""

    function: str
    kind: str
    start: int
    end: int
    after: str
    spans: tuple[tuple[int, int], ...]


Edit = tuple[str, int, int, str]
"""Kind, start, end, what stands there then."""


class Text:
    """A module's text, in bytes as the syntax tree counts them."""

    def __init__(self, source: str) -> None:
        self.bytes = source.encode()
        self.tree = ast.parse(source)
        self.lines = [0, *accumulate(len(line) for line in self.bytes.splitlines(keepends=True))]

    def start(self, node: ast.AST) -> int:
        return self.lines[node.lineno - 1] + node.col_offset  # type: ignore[attr-defined, no-any-return]

    def end(self, node: ast.AST) -> int:
        return self.lines[node.end_lineno - 1] + node.end_col_offset  # type: ignore[attr-defined, no-any-return]

    def of(self, node: ast.AST) -> str:
        return self.bytes[self.start(node) : self.end(node)].decode()

    def line_at(self, place: int) -> int:
        return bisect_right(self.lines, place)

    def token(self, first: int, last: int, token: str) -> tuple[int, int]:
        """Where an operator stands between two places."""
        words = rb"\s+".join(re.escape(word).encode() for word in token.split())
        found = re.search(words, self.bytes[first:last])
        if found is None:
            raise LookupError(f"No “{token}” in {self.bytes[first:last]!r}.")
        return first + found.start(), first + found.end()

    def with_change(self, change: Change) -> str:
        return (self.bytes[: change.start] + change.after.encode() + self.bytes[change.end :]).decode()


def changes_of(text: Text) -> Iterator[Change]:
    """Every change of every function's body, and of the numbers in the module's constants that a function uses."""
    yield from _in_block(text, text.tree.body, "")
    used: dict[str, list[tuple[int, int]]] = {}
    for statement, node in _statements_and_parts(text.tree.body):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            used.setdefault(node.id, []).append(_lines_of(statement))
    for statement in text.tree.body:
        names = [name for name in constants_in(statement) if name in used]
        if names:
            spans = tuple(span for name in names for span in used[name])
            for node in ast.walk(statement):
                for kind, start, end, after in _numbers(text, node):
                    yield Change(names[0], kind, start, end, after, spans)


def constants_in(statement: ast.stmt) -> list[str]:
    """The names in capitals that a statement of a module gives a value."""
    targets = statement.targets if isinstance(statement, ast.Assign) else []
    if isinstance(statement, ast.AnnAssign) and statement.value:
        targets = [statement.target]
    names = [node.id for target in targets for node in ast.walk(target) if isinstance(node, ast.Name)]
    return [name for name in names if name.isupper()]


def _in_block(text: Text, block: list[ast.stmt], inside: str) -> Iterator[Change]:
    for statement in block:
        if isinstance(statement, FUNCTIONS):
            name = f"{inside}{statement.name}"
            for at, node in _parts_of(statement.body):
                for rule in RULES:
                    for edit in rule(text, node):
                        yield Change(name, *edit, (_met_on(text, at, edit),))
        elif isinstance(statement, ast.ClassDef) and statement.name != "Meta":
            yield from _in_block(text, statement.body, f"{inside}{statement.name}.")


def _met_on(text: Text, statement: ast.stmt, edit: Edit) -> tuple[int, int]:
    """The lines of the statement, or of what is dropped from its block."""
    _, start, end, _ = edit
    lines = _lines_of(statement)
    return lines if text.line_at(start) <= lines[1] else (text.line_at(start), text.line_at(end))


def _statements_and_parts(block: list[ast.stmt]) -> Iterator[tuple[ast.stmt, ast.AST]]:
    for statement in block:
        if isinstance(statement, FUNCTIONS):
            yield from _parts_of(statement.body)
        elif isinstance(statement, ast.ClassDef):
            yield from _statements_and_parts(statement.body)


def _parts_of(body: list[ast.stmt]) -> Iterator[tuple[ast.stmt, ast.AST]]:
    """Every node below with the statement that it stands in; no annotations, and no words in braces."""
    for statement in body:
        yield from _parts(statement, statement)


def _parts(statement: ast.stmt, node: ast.AST) -> Iterator[tuple[ast.stmt, ast.AST]]:
    yield statement, node
    if isinstance(node, ast.JoinedStr) or _changes_nothing(node):
        return
    left_out = {"annotation", "returns", "decorator_list", "args"} if isinstance(node, FUNCTIONS) else {"annotation"}
    for field, value in ast.iter_fields(node):
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and field not in left_out:
                yield from _parts(child if isinstance(child, ast.stmt) else statement, child)


def _changes_nothing(node: ast.AST) -> bool:
    """An argument that no figure hangs on, or where a text is cut to what its column holds."""
    if isinstance(node, ast.Slice) and isinstance(node.upper, ast.Constant):
        return isinstance(node.upper.value, int) and node.upper.value >= LONG_TEXT
    return isinstance(node, ast.keyword) and node.arg in CHANGES_NOTHING


def _lines_of(statement: ast.stmt) -> tuple[int, int]:
    """The lines of a statement, of a block only its head."""
    body = getattr(statement, "body", None)
    last = max(statement.lineno, body[0].lineno - 1) if body else statement.end_lineno or statement.lineno
    return statement.lineno, last


# The rules: each says what it would change at one node


def _comparisons(text: Text, node: ast.AST) -> Iterator[Edit]:
    if isinstance(node, ast.Compare):
        sides = [node.left, *node.comparators]
        for before, operator, behind in zip(sides, node.ops, sides[1:], strict=False):
            token, others = TURNED[type(operator)]
            start, end = text.token(text.end(before), text.start(behind), token)
            for other in others:
                yield "comparison", start, end, other


def _junctions(text: Text, node: ast.AST) -> Iterator[Edit]:
    if isinstance(node, ast.BoolOp):
        token, other = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
        for before, behind in zip(node.values, node.values[1:], strict=False):
            yield "and/or", *text.token(text.end(before), text.start(behind), token), other


def _signs(text: Text, node: ast.AST) -> Iterator[Edit]:
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        start, end = text.token(text.start(node), text.start(node.operand), "not")
        yield "not dropped", start, end + (text.bytes[end : end + 1] == b" "), ""
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield "sign dropped", text.start(node), text.start(node) + 1, ""
    elif isinstance(node, ast.BinOp) and type(node.op) in SWAPPED:
        token, other = SWAPPED[type(node.op)]
        yield "operator", *text.token(text.end(node.left), text.start(node.right), token), other
    elif isinstance(node, ast.AugAssign) and type(node.op) in SWAPPED:
        token, other = SWAPPED[type(node.op)]
        yield "operator", *text.token(text.end(node.target), text.start(node.value), f"{token}="), f"{other}="


def _numbers(text: Text, node: ast.AST) -> Iterator[Edit]:
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        after = not node.value if isinstance(node.value, bool) else node.value + 1
        yield "constant", text.start(node), text.end(node), str(after)


def _strings(text: Text, node: ast.AST) -> Iterator[Edit]:
    """Those that are compared, or looked for."""
    values: list[ast.expr] = []
    if isinstance(node, ast.Compare):
        values = [node.left, *node.comparators]
    elif isinstance(node, ast.Call) and name_of(node) in (*NARROWS, "get", "Q"):
        values = [each.value for each in node.keywords]
    for value in values:
        for each in value.elts if isinstance(value, ast.Tuple | ast.List | ast.Set) else [value]:
            if isinstance(each, ast.Constant) and isinstance(each.value, str) and each.value:
                yield "string emptied", text.start(each), text.end(each), '""'


def _calls(text: Text, node: ast.AST) -> Iterator[Edit]:
    if not isinstance(node, ast.Call):
        return
    name, start, end = name_of(node), text.start(node), text.end(node)
    named_from, named_to = text.end(node.func) - len(name.encode()), text.end(node.func)
    if isinstance(node.func, ast.Name) and name in ("min", "max"):
        yield "min/max", named_from, named_to, "max" if name == "min" else "min"
    if isinstance(node.func, ast.Attribute):
        if name in NARROWS:
            yield "filter/exclude", named_from, named_to, NARROWS[1 - NARROWS.index(name)]
        if name in ("order_by", "select_for_update"):
            kind = "order dropped" if name == "order_by" else "lock dropped"
            yield kind, text.end(node.func.value), end, ".all()"
    if name in GIVES_BACK_WHAT_IT_LOCKS and len(node.args) == 1:
        yield "lock dropped", start, end, text.of(node.args[0])
    if (isinstance(node.func, ast.Attribute) and name in NARROWS) or name == "Q":
        yield from _arguments(text, node)


def _arguments(text: Text, call: ast.Call) -> Iterator[Edit]:
    given: list[ast.expr | ast.keyword] = sorted([*call.args, *call.keywords], key=text.start)
    for place, each in enumerate(given):
        if place + 1 < len(given):
            yield "condition dropped", text.start(each), text.start(given[place + 1]), ""
        else:
            yield "condition dropped", text.end(given[place - 1]) if place else text.start(each), text.end(each), ""


def _statements(text: Text, node: ast.AST) -> Iterator[Edit]:
    kind, gone = "", node
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
        kind = "lock dropped" if name_of(node.value) in LOCKS else "call dropped"
    elif isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call) and name_of(node.exc) == "Refused":
        kind = "refusal dropped"
    elif isinstance(node, ast.If) and not node.orelse and isinstance(node.body[-1], ast.Return | ast.Continue):
        kind, gone = "guard clause dropped", node.body[-1]
    if kind:
        yield kind, text.start(gone), text.end(gone), "pass"


def _bounds(text: Text, node: ast.AST) -> Iterator[Edit]:
    """Bounds that are no numbers; those are moved as numbers."""
    if isinstance(node, ast.Slice):
        for bound in (node.lower, node.upper):
            if bound and not isinstance(bound, ast.Constant):
                yield "slice", text.start(bound), text.end(bound), f"({text.of(bound)}) + 1"


RULES = (_comparisons, _junctions, _signs, _numbers, _strings, _calls, _statements, _bounds)


def name_of(call: ast.Call) -> str:
    """What is called, without where it is found."""
    if isinstance(call.func, ast.Attribute):
        return call.func.attr
    return call.func.id if isinstance(call.func, ast.Name) else ""
