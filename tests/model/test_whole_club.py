"""A club's years by any acts in any order: the book says what a plain model says, after each of them.

The model (`fees` to `merging` of this folder) shares no code and no words with the rooms. `MODEL_RUNS` says how many
runs of `MODEL_ACTS` acts there are: in the gate 8 of 60, for an hour or a night as many as wished; `MODEL_OFTEN`, as
`a_voucher_is_not_given_back=20`, which acts come so often.
"""

import os
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import rule, run_state_machine_as_test

from tests.model.acting import acts_of, drawn_of
from tests.model.acts_of_courses import ActsOfCourses
from tests.model.acts_of_members import ActsOfMembers
from tests.model.acts_of_money import ActsOfMoney
from tests.model.acts_of_vouchers import ActsOfVouchers
from tests.model.both import BothClubs
from tests.model.comparing import differences, letters_apart, letters_of, letters_since

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
RUNS, STEPS = int(os.environ.get("MODEL_RUNS", "8")), int(os.environ.get("MODEL_ACTS", "60"))
OFTEN = dict(each.split("=") for each in os.environ.get("MODEL_OFTEN", "").split(",") if each)


class WholeClub(ActsOfCourses, ActsOfMoney, ActsOfVouchers, ActsOfMembers):
    """Any act, in any order.

    Hypothesis would do few kinds of acts in each run, very often; here each comes as often as it is said to.
    """

    @rule(data=st.data())
    def something_happens(self, data):
        self.number += 1
        drawn_of(ACTS, self, data, self.number).happen(self, data)


ACTS = {name: replace(each, often=int(OFTEN.get(name, each.often))) for name, each in acts_of(WholeClub).items()}


def test_the_book_says_what_a_plain_model_says_after_each_of_many_acts():
    WholeClub.begin()
    quiet = settings(
        max_examples=RUNS,
        stateful_step_count=STEPS,
        deadline=None,
        print_blob=True,
        phases=[Phase.explicit, Phase.reuse, Phase.generate, *([] if os.environ.get("MODEL_RUNS") else [Phase.shrink])],
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(WholeClub, settings=quiet)
    assert BothClubs.acts >= RUNS * STEPS // 3
    print(f"{BothClubs.acts} acts in {RUNS} runs")
    for verb in sorted(BothClubs.done + BothClubs.refusals):
        print(f"{verb}: {BothClubs.done[verb]} done, {BothClubs.refusals[verb]} refused")


def test_whatever_the_book_says_otherwise_is_named():
    WholeClub.begin()
    both = WholeClub()
    both.start(True)
    try:
        club = both.club
        assert differences(club) == {}
        club.queue.reverse()
        club.fees[0].starts += timedelta(days=1)
        club.parties[0].pay_by = both.today
        club.post(both.today, {"bank": 1, "ahead": -1})
        assert set(differences(club)) == {"queue", "fees", "parties", "postings"}
        _, letters = letters_since(0)
        assert letters_apart(letters, letters_of(club, club.letters)) == ()
        word, family, to, says = club.letters[0]
        club.letters[0] = word, family, to, (*says[:-1], both.today)
        assert letters_apart(letters, letters_of(club, club.letters)) != ()
    finally:
        both.run.__exit__(None, None, None)
