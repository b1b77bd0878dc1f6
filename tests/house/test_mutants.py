"""The tool that changes the code to see whether tests can fail: what it changes, and that it changes nothing else."""

import sys
from types import ModuleType

import pytest

from tests.mutants import picking
from tests.mutants.changes import Text, changes_of
from tests.mutants.placing import loaded_functions, put_in_place

KINDS = [
    ("comparison", "return a < b", ["return a <= b", "return a >= b"]),
    ("comparison", "return (a) not in (b)", ["return (a) in (b)"]),
    ("and/or", "return a and b", ["return a or b"]),
    ("not dropped", "return not (a or b)", ["return (a or b)"]),
    ("sign dropped", "return -a", ["return a"]),
    ("operator", "return (a) + b", ["return (a) - b"]),
    ("operator", "a -= b", ["a += b"]),
    ("min/max", "return min(a, b)", ["return max(a, b)"]),
    ("constant", "return a[1:]", ["return a[2:]"]),
    ("slice", "return a[:b]", ["return a[:(b) + 1]"]),
    ("string emptied", 'return a == "open"', ['return a == ""']),
    ("string emptied", 'return a.filter(state="open")', ['return a.filter(state="")']),
    ("filter/exclude", "return a.exclude(pk=b)", ["return a.filter(pk=b)"]),
    ("condition dropped", "return a.filter(x, pk=b)", ["return a.filter(pk=b)", "return a.filter(x)"]),
    ("condition dropped", "return Q(pk=b)", ["return Q()"]),
    ("order dropped", 'return a.order_by("pk")', ["return a.all()"]),
    ("lock dropped", "a.select_for_update(no_key=True).get()", ["a.all().get()"]),
    ("lock dropped", "a = queue(a)", ["a = a"]),
    ("lock dropped", "ledger.lock_book()", ["pass"]),
    ("call dropped", "settle(a, on=b)", ["pass"]),
    ("refusal dropped", 'raise Refused("No.")', ["pass"]),
    ("guard clause dropped", "if a:\n        return b", ["if a:\n        pass"]),
]


def _function(body: str) -> str:
    return f'"""Über."""\n\n\ndef act(a, b=1):\n    """Said: 1 < 2."""\n    {body}\n\n\nLAST = 2  # “”\n'


@pytest.mark.parametrize(("kind", "body", "changed"), KINDS, ids=[body for _, body, _ in KINDS])
def test_each_kind_of_change_leaves_the_rest_of_the_text(kind, body, changed):
    text = Text(_function(body))
    made = [text.with_change(change) for change in changes_of(text) if change.kind == kind]
    assert made == [_function(each) for each in changed]


@pytest.mark.parametrize(
    "untouched",
    ['return f"{a + 1}"', "return a[:150]", "return zip(a, b, strict=True)", "a: Literal[1]", "return {'open': a}"],
)
def test_words_cuts_and_annotations_are_left_alone(untouched):
    assert list(changes_of(Text(_function(untouched)))) == []


def test_a_constant_is_changed_where_a_function_uses_it():
    text = Text("MOST = 3\nOTHER = 4\n\n\ndef act(a):\n    return a[:MOST]\n")
    found = [(change.function, text.with_change(change)[:9], change.spans) for change in changes_of(text)]
    assert ("MOST", "MOST = 4\n", ((6, 6),)) in found
    assert all(name != "OTHER" for name, *_ in found)


def test_a_change_is_met_by_its_statement_or_the_head_of_its_block():
    text = Text("def act(a):\n    if (a\n        == 1):\n        return a\n    return act(\n        -a)\n")
    assert {change.kind: change.spans for change in changes_of(text)} == {
        "comparison": ((2, 3),), "constant": ((2, 3),), "guard clause dropped": ((4, 4),), "sign dropped": ((5, 6),)
    }  # fmt: skip


def test_the_same_seed_picks_the_same_and_more_begin_with_fewer():
    few = picking.pick(["ledger"], 5, 4010)
    assert few == picking.pick(["ledger"], 5, 4010)
    assert picking.pick(["ledger"], 9, 4010)[:5] == few
    assert picking.pick(["ledger"], 5, 4011) != few


def test_only_what_does_something_is_looked_at():
    found = picking.modules()
    assert {module.partition(".")[0] for module in found} == set(picking.ROOMS)
    assert not [each for each in found if {"admin", "views", "migrations", "room"} & set(each.split("."))]


@pytest.fixture
def loaded():
    """A module, and one that took a function and a number of it, behind a decorator."""
    source = (
        "LEAST = 2\n\n\ndef enough(a):\n    return a >= LEAST\n\n\ndef other(a):\n    return [a + 1 for _ in '.']\n"
    )
    one, two = ModuleType("clubdesk_scratch_one"), ModuleType("clubdesk_scratch_two")
    for module in (one, two):
        sys.modules[module.__name__] = module
    exec(compile(source, "clubdesk_scratch_one", "exec"), vars(one))
    loaded_functions.cache_clear()
    two.enough, two.other, two.LEAST = one.enough, one.other, one.LEAST
    yield source, two
    for module in (one, two):
        del sys.modules[module.__name__]
    loaded_functions.cache_clear()


def test_who_imported_a_function_runs_the_change(loaded):
    source, user = loaded
    put_in_place("clubdesk_scratch_one", source, source.replace(">=", ">").replace("a + 1", "a - 1"))
    assert (user.enough(2), user.enough(3), user.other(5)) == (False, True, [4])


def test_who_imported_a_constant_has_the_change(loaded):
    source, user = loaded
    put_in_place("clubdesk_scratch_one", source, source.replace("LEAST = 2", "LEAST = 3"))
    assert (user.enough(2), user.LEAST) == (False, 3)


def test_a_change_that_nothing_loaded_comes_of_is_no_trial(loaded):
    source, _ = loaded
    with pytest.raises(LookupError, match="Nothing"):
        put_in_place("clubdesk_scratch_one", source, source)


def original(module):
    return picking.read(module).bytes.decode()


def test_each_change_that_is_named_stands_in_the_code():
    changes = picking.named_changes()
    assert len(changes) > 30
    for change in changes:
        mutant = picking.named(change.where, change.before, change.after)
        assert compile(mutant.source, change.where, "exec") != compile(original(mutant.module), change.where, "exec")


def test_words_that_stand_there_twice_name_no_change():
    with pytest.raises(LookupError, match="stands 2 times"):
        picking.named("ledger.posting:debit", "amount", "-amount")


def test_each_change_that_is_judged_can_still_be_made():
    known = {mutant.key for module in picking.modules() for mutant in picking.mutants_of(module)}
    assert not picking.judged().keys() - known
