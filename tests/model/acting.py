"""Which acts there are, how often each comes, and when it can."""

import inspect
from collections.abc import Callable
from dataclasses import dataclass

from hypothesis import strategies as st


@dataclass(frozen=True)
class Act:
    do: Callable
    often: int
    when: Callable
    drawn: dict

    def happen(self, club, data):
        given = {name: data.draw(strategy, label=name) for name, strategy in self.drawn.items()}
        if "data" in inspect.signature(self.do).parameters:
            given["data"] = data
        self.do(club, **given)


def act(often=1, when=lambda both: True, **drawn):
    """An act of the club; `often` beside the others, `when` it can be, with what is `drawn` for it."""

    def declared(do):
        do.act = Act(do, often, when, drawn)
        return do

    return declared


def acts_of(kind):
    return {name: member.act for name, member in inspect.getmembers(kind) if hasattr(member, "act") and name != "act"}


def drawn_of(acts, club, data, number):
    """One of those that can be, each as often as it comes.

    What Hypothesis likes best, the first of all, is another one for each `number`.
    """
    able = [name for name, each in acts.items() if each.when(club) for _ in range(each.often)]
    first = 17 * number % len(able)
    return acts[data.draw(st.sampled_from(able[first:] + able[:first]), label="act")]
