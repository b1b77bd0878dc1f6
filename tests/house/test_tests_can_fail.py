"""Each test can fail: it asserts something, wants one answer, and reads what was refused."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

TESTS = Path(__file__).parent.parent
TREES = {path.relative_to(TESTS): ast.parse(path.read_text()) for path in sorted(TESTS.rglob("*.py"))}
ASSERTING = {"fail", "raises", "expect", "run_state_machine_as_test"}
"""What asserts though no `assert` of ours stands in it, besides pytest-django's counts of queries."""

NOTHING = "asserts nothing"
EITHER = "is content with either of two"
ANY_ANSWER = "is content with several answers of a page"
ANY_REFUSAL = "does not read what was raised"
IN_A_LOOP = "asserts only in a loop that may go round nothing"


def called(node: ast.AST) -> set[str]:
    """Names of the functions that are called in it, of pytest and of its own class too."""
    found = {each.func for each in ast.walk(node) if isinstance(each, ast.Call)}
    names = {func.id for func in found if isinstance(func, ast.Name)}
    return names | {
        func.attr for func in found
        if isinstance(func, ast.Attribute) and isinstance(func.value, ast.Name) and func.value.id in ("self", "pytest")
    }  # fmt: skip


def asserts(node: ast.AST, helpers: set[str]) -> bool:
    names = called(node)
    return (
        any(isinstance(each, ast.Assert) for each in ast.walk(node))
        or bool(names & (ASSERTING | helpers))
        or any(name.startswith("django_assert_") for name in names)
    )


def functions(tree: ast.Module) -> list[ast.FunctionDef]:
    return [each for each in ast.walk(tree) if isinstance(each, ast.FunctionDef)]


def helpers_that_assert() -> set[str]:
    """Functions beside the tests that assert, by themselves or by one another."""
    beside = [each for tree in TREES.values() for each in functions(tree) if not each.name.startswith("test_")]
    found: set[str] = set()
    while new := {each.name for each in beside if asserts(each, found)} - found:
        found |= new
    return found


def weak(tree: ast.Module, helpers: set[str]) -> Iterator[tuple[int, str]]:
    """Each line of a test that hardly can fail, and why."""
    for test in functions(tree):
        if test.name.startswith("test_") and not asserts(test, helpers):
            yield test.lineno, NOTHING
        elif test.name.startswith("test_") and not asserts(without_empty_loops(test), helpers):
            yield test.lineno, IN_A_LOOP
        read = {each.id for each in ast.walk(test) if isinstance(each, ast.Name) and isinstance(each.ctx, ast.Load)}
        for block in ast.walk(test):
            if isinstance(block, ast.With) and any(raises_unread(item, read) for item in block.items):
                yield block.lineno, ANY_REFUSAL
    for stated in (each for each in ast.walk(tree) if isinstance(each, ast.Assert)):
        if isinstance(stated.test, ast.BoolOp) and isinstance(stated.test.op, ast.Or):
            yield stated.lineno, EITHER
        if any(any_answer(each) for each in ast.walk(stated.test)):
            yield stated.lineno, ANY_ANSWER


def without_empty_loops(test: ast.FunctionDef) -> ast.Module:
    """What a test does for sure, whether or not there is anything in the lists that it goes round."""
    kept = [line for line in test.body if not (isinstance(line, ast.For) and may_be_empty(line.iter))]
    return ast.Module(kept, type_ignores=[])


def may_be_empty(gone_round: ast.expr) -> bool:
    """Not what stands in the test itself, a count, or a constant by its name."""
    if isinstance(gone_round, ast.Call):
        parts = [*gone_round.args, *([gone_round.func.value] if isinstance(gone_round.func, ast.Attribute) else [])]
        return ast.unparse(gone_round.func) != "range" and any(
            may_be_empty(part) for part in parts or [gone_round.func]
        )
    name = gone_round.attr if isinstance(gone_round, ast.Attribute) else getattr(gone_round, "id", "")
    return not (isinstance(gone_round, ast.Tuple | ast.List | ast.Dict | ast.Set | ast.Constant) or name.isupper())


def raises_unread(item: ast.withitem, read: set[str]) -> bool:
    call, name = item.context_expr, item.optional_vars
    if not (isinstance(call, ast.Call) and ast.unparse(call.func) == "pytest.raises"):
        return False
    return "match" not in {each.arg for each in call.keywords} and not (isinstance(name, ast.Name) and name.id in read)


def any_answer(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Compare)
        and isinstance(node.left, ast.Attribute)
        and node.left.attr == "status_code"
        and not isinstance(node.ops[0], ast.Eq)
    )


def test_no_test_is_weak():
    helpers = helpers_that_assert()
    found = [f"{path}:{line} {why}" for path, tree in TREES.items() for line, why in weak(tree, helpers)]
    assert len(TREES) > 150
    assert found == []


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ("pay(claim)", [NOTHING]),
        ("client.post('/pay/')", [NOTHING]),
        ("assert page.status_code < 500", [ANY_ANSWER]),
        ("assert page.status_code in (200, 302)", [ANY_ANSWER]),
        ("assert [url for url in urls if client.get(url).status_code != 404] == []", [ANY_ANSWER]),
        ("assert 'Sep' in page or 'Sept' in page", [EITHER]),
        ("with pytest.raises(Refused): pay(claim)", [ANY_REFUSAL]),
        ("with pytest.raises(Refused) as refusal: pay(claim)", [ANY_REFUSAL]),
        ("for row in rows: assert row.paid", [IN_A_LOOP]),
        ("for row, paid in zip(rows, ('7.00',)): assert row.paid == paid", [IN_A_LOOP]),
        ("for row in rows: assert row.paid\n    assert rows", []),
        ("for day in ('1 Jul', '2 Jul'): assert day in page", []),
        ("for number, state in enumerate(STATES): assert page[number] == state", []),
        ("for number in range(3): assert page[number]", []),
        ("assert page.status_code == 200", []),
        ("assert [row for row in rows if row.owed or row.late] == []", []),
        ("with pytest.raises(Refused, match='paid already'): pay(claim)", []),
        ("with pytest.raises(Refused) as refusal: pay(claim)\n    assert refusal.value.messages == ['No.']", []),
        ("found_sound(club)", []),
        ("with django_assert_num_queries(3): pay(claim)", []),
    ],
)
def test_what_hardly_can_fail_is_found(body, why):
    assert [said for _, said in weak(ast.parse(f"def test_it():\n    {body}"), {"found_sound"})] == why
