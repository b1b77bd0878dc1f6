"""Memberships, what is passed on of them, and two that turn out to be one; each act in the book and in the model."""

from datetime import timedelta

from hypothesis import strategies as st

from clubdesk.ledger.models import Party
from clubdesk.membership import services as membership
from clubdesk.membership.models import Membership
from clubdesk.roll import services as roll
from clubdesk.roll.models import Merge
from tests.model.acting import act
from tests.model.both import BothClubs
from tests.model.plans import PLANS
from tests.model.schemes import SCHEMES


class ActsOfMembers(BothClubs):
    @act(often=4, later=st.integers(0, 60), elsewhere=st.booleans(), by_voucher=st.booleans())
    def a_child_joins(self, data, later, elsewhere, by_voucher):
        payer = self.pick(data, self.standing_families()) if elsewhere else None
        child, first = self.pick(data, self.standing_children()), self.today + timedelta(days=later)
        plan, voucher, given = data.draw(st.sampled_from(PLANS)), None, {}
        if by_voucher:
            scheme, self.codes = data.draw(st.sampled_from(SCHEMES)), self.codes + 1
            voucher = scheme, f"N{self.club.children.index(child)}" if scheme.of_child else f"C{self.codes}"
            given = {"scheme": self.schemes[scheme], "code": voucher[1]}
        self.act(
            lambda: self.club.join(child, plan, first, payer, voucher),
            membership.take_out_membership, person=self.person(child), plan=self.plans[plan], starts_on=first,
            on=self.today, payer=payer and self.family(payer), **given,
        )  # fmt: skip

    @act(often=2, when=lambda both: any(m.charge for m in both.club.members))
    def a_family_renews(self, data):
        waits = [each for each in self.standing_families() if self.club._to_renew(each)]
        if not waits and data.draw(st.integers(0, 3)):
            self.some_days_pass(30)
            return
        family = self.pick(data, waits or self.standing_families())
        self.act(
            lambda: self.club.renew(family),
            membership.renew_household, household=self.family(family), on=self.today,
        )  # fmt: skip

    @act(often=2, when=lambda both: both.club.members, never=st.booleans())
    def a_membership_ends(self, data, never):
        if member := self.pick(data, self.club.members):
            row = self.row(Membership, self.club.members.index(member))
            do, verb = (
                (self.club.cancel_member, membership.cancel_membership)
                if never else (self.club.end, membership.end_membership)
            )  # fmt: skip
            self.act(lambda: do(member), verb, membership=row, reason="moved away", on=self.today)

    @act(often=3, when=lambda both: both.club.members, plan=st.sampled_from(PLANS))
    def a_membership_has_another_plan(self, data, plan):
        if member := self.pick(data, self.club.members):
            row = self.row(Membership, self.club.members.index(member))
            self.act(
                lambda: self.club.change_plan(member, plan),
                membership.change_plan, membership=row, plan=self.plans[plan], reason="asked", on=self.today,
            )  # fmt: skip

    @act(
        often=2,
        when=lambda both: both.club.members,
        name=st.sampled_from(["state", "national"]),
        later=st.integers(-40, 40),
    )
    def fees_are_passed_on(self, name, later):
        through = self.today + timedelta(days=later)
        self.act(
            lambda: self.club.pass_on(name, through),
            membership.remit_affiliation, association=Party.objects.get(name=name), through=through, on=self.today,
        )  # fmt: skip

    # Two that are one

    @act(when=lambda both: len(both.standing_families()) > 3, undone=st.booleans())
    def two_families_are_one(self, data, undone):
        stays, gone = (self.pick(data, self.standing_families()) for _ in range(2))
        rows = {"household": self.family(stays), "other": self.family(gone)}
        self.merge(undone, lambda: self.club.one_family(stays, gone), roll.merge_families, rows)

    @act(when=lambda both: len(both.standing_children()) > 9, undone=st.booleans())
    def two_children_are_one(self, data, undone):
        stays, gone = (self.pick(data, self.standing_children()) for _ in range(2))
        rows = {"person": self.person(stays), "other": self.person(gone)}
        self.merge(undone, lambda: self.club.one_child(stays, gone), roll.merge_people, rows)

    def merge(self, undone, in_model, verb, rows):
        """Two are one; undone at once everything is as it was."""
        before = len(self.club.merges)
        self.act(in_model, verb, **rows, on=self.today)
        if undone and len(self.club.merges) > before:
            self.undo(self.club.merges[-1])

    @act(often=3, when=lambda both: both.club.merges, last=st.booleans())
    def a_merge_is_undone(self, data, last):
        self.undo(self.club.merges[-1] if last else self.pick(data, self.club.merges))

    def undo(self, merged):
        row = self.row(Merge, self.club.merges.index(merged))
        self.act(lambda: self.club.two_after_all(merged), roll.undo_merge, merge=row, on=self.today)
