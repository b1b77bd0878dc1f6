"""What families and the club do about a course, and nights; each act in the book and in the model."""

from datetime import timedelta

from hypothesis import strategies as st

from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort
from tests.model.acting import act
from tests.model.both import BothClubs
from tests.model.course import Run


class ActsOfCourses(BothClubs):
    @act(often=3, days=st.integers(1, 9))
    def days_pass(self, days):
        self.some_days_pass(days)

    @act(often=2, days=st.integers(20, 110))
    def the_book_is_left_alone(self, days):
        self.some_days_pass(days)

    # Booking and waiting

    @act(often=3, any_run=st.booleans(), hold=st.booleans(), elsewhere=st.booleans())
    def a_family_books(self, data, any_run, hold, elsewhere):
        family = self.pick(data, self.standing_families())
        own = [child for child in self.standing_children() if child.family is family]
        if not own:
            return
        children = sorted(self.some(data, own)[:4], key=self.club.children.index)
        runs = None if any_run else self.some(data, [run for run in self.club.runs if not run.cancelled])
        payer = self.pick(data, self.standing_families()) if elsewhere else None
        self.books(children, runs, payer, hold)

    def a_party(self, data, *stands):
        return self.pick(data, [p for p in self.club.parties if not stands or p.stands in stands])

    def has_seats(self, stands):
        return any(party.those(stands) for party in self.club.parties)

    def a_seat(self, data, *stands):
        return self.pick(data, [s for p in self.club.parties for s in p.seats if s.stands in stands])

    @act(often=2, when=lambda both: any(p.those("offered") for p in both.club.parties))
    def a_family_accepts(self, data):
        if party := self.a_party(data, "offered", "offered", "has"):
            self.act(lambda: self.club.accept(party), courses.accept_offer, booking=self.party(party), on=self.today)

    @act(often=3)
    def some_leave(self, data):
        by_voucher = {v.fee for v in self.vouchers("paid")}
        vouched = [p for p in self.club.parties if any(s.fee in by_voucher for s in p.those("has"))]
        party = self.pick(data, vouched) if vouched and data.draw(st.booleans()) else self.a_party(data)
        if party:
            seats = self.some(data, party.seats)
            children = [seat.child for seat in seats if seat.stands in ("waits", "offered", "has")]
            rows = self.seats(party, [s for s in party.seats if s.child in children])
            self.act(
                lambda: self.club.leave(party, children),
                courses.withdraw, booking=self.party(party), places=rows, reason="ill", on=self.today,
            )  # fmt: skip

    @act(often=2, when=lambda both: both.has_seats("left"))
    def a_withdrawal_is_undone(self, data):
        if seat := self.a_seat(data, "left"):
            row = self.seats(seat.party, [seat])[0]
            self.act(lambda: self.club.come_back(seat), courses.undo_withdrawal, place=row, on=self.today)

    @act(often=2, when=lambda both: both.has_seats("has"))
    def some_are_transferred(self, data):
        if party := self.a_party(data, "has"):
            run = self.pick(data, self.club.to_come() or self.club.runs)
            children = [s.child for s in self.some(data, party.seats)]
            rows = self.seats(party, [s for s in party.seats if s.child in children])
            self.act(
                lambda: self.club.transfer(party, run, children),
                courses.transfer, booking=self.party(party), cohort=self.cohort(run), places=rows, reason="camp",
                on=self.today,
            )  # fmt: skip

    @act(when=lambda both: both.has_seats("waits"))
    def one_moves_in_the_queue(self, data):
        waits = [p for p in self.club.parties if p.stands == "waits"]
        if party := self.pick(data, waits):
            before = self.pick(data, [None, *waits])
            self.act(
                lambda: self.club.move_in_queue(party, before),
                courses.move_in_queue, booking=self.party(party), before=before and self.party(before),
                reason="promised", on=self.today,
            )  # fmt: skip

    @act(when=lambda both: both.has_seats("waits"))
    def one_cannot_make_some(self, data):
        if party := self.a_party(data, "waits"):
            runs = self.any_of(data, self.club.runs)
            self.act(
                lambda: self.club.cannot_make(party, runs),
                courses.change_cohorts, booking=self.party(party), cannot_make=[self.cohort(r) for r in runs],
                on=self.today,
            )  # fmt: skip

    @act(when=lambda both: both.has_seats("waits"))
    def a_group_is_booked_apart(self, data):
        if party := self.a_party(data, "waits"):
            self.act(lambda: self.club.book_apart(party), courses.book_apart, booking=self.party(party), on=self.today)

    @act(when=lambda both: len(both.club.drew) < 6)
    def a_child_is_seen_to_draw(self, data):
        child = self.pick(data, self.standing_children())
        self.act(
            lambda: self.club.draws(child),
            courses.record_reach_check, person=self.person(child), checked_by="Coach", on=self.today,
        )  # fmt: skip

    @act(when=lambda both: both.has_seats("waits"))
    def one_more_waits(self, data):
        if party := self.a_party(data, "waits"):
            child = self.pick(data, [c for c in self.standing_children() if c.family is party.family])
            if child:
                self.act(
                    lambda: self.club.add(party, child),
                    courses.add_to_group, booking=self.party(party), person=self.person(child), on=self.today,
                )  # fmt: skip

    @act(often=2, when=lambda both: both.has_seats("has"))
    def somebody_else_comes(self, data):
        ahead = [s for p in self.club.parties for s in p.those("has") if s.run.first > self.today]
        seat = self.pick(data, ahead) if data.draw(st.integers(0, 3)) else self.a_seat(data, "has", "left")
        if seat:
            own = [child for child in self.standing_children() if child.family is seat.party.family]
            child = self.pick(data, [each for each in own if not self.club.seat_of(each)] or own)
            if child:
                self.act(
                    lambda: self.club.swap(seat, child),
                    courses.swap_person, place=self.seats(seat.party, [seat])[0], person=self.person(child),
                    reason="camp", on=self.today,
                )  # fmt: skip

    @act(takes_over=st.booleans())
    def a_child_belongs_to_another_family(self, data, takes_over):
        waits = [child for child in self.standing_children() if self.club.waiting_for_next(child.family, child)]
        child = self.pick(data, waits if waits and data.draw(st.booleans()) else self.standing_children())
        family = self.pick(data, self.standing_families())
        self.act(
            lambda: self.club.belongs_to(child, family, takes_over),
            courses.move_person, person=self.person(child), household=self.family(family), takes_over=takes_over,
            on=self.today,
        )  # fmt: skip

    @act(days=st.integers(-2, 30))
    def a_family_has_more_time(self, data, days):
        if party := self.a_party(data, "has", "waits"):
            day = self.today + timedelta(days=days)
            self.act(
                lambda: self.club.more_time(party, day),
                courses.give_more_time, booking=self.party(party), pay_by=day, reason="asked", on=self.today,
            )  # fmt: skip

    @act()
    def a_family_is_rung(self, data):
        if party := self.a_party(data, "has"):
            row = self.party(party)
            self.act(lambda: self.club.remind_by_phone(party), courses.remind_by_phone, booking=row, on=self.today)

    # What the club changes

    @act(often=2, later=st.integers(-25, 25), longer=st.sampled_from([0, 0, 7]), seats=st.integers(1, 6))
    def a_run_has_other_days(self, data, later, longer, seats):
        run = self.pick(data, [run for run in self.club.runs if not run.cancelled])
        if run is None:
            return
        row = self.cohort(run)
        row.first_session, row.last_session = run.first + timedelta(days=later), run.last + timedelta(later + longer)
        row.capacity = seats = max(seats, run.seats - self.club.free(run))
        first, last = row.first_session, row.last_session
        self.act(lambda: self.club.change_days(run, first, last, seats), courses.save_cohort, cohort=row, on=self.today)

    @act()
    def a_run_is_cancelled(self, data):
        asked = {v.fee for v in self.club.vouchers if v.stands in ("asked", "paid")}
        able = [run for run in self.club.runs if run.last >= self.today]
        vouched = [r for r in able if any(s.run is r and s.fee in asked for p in self.club.parties for s in p.seats)]
        run = self.pick(data, vouched if vouched and data.draw(st.booleans()) else able)
        if run:
            row = self.cohort(run)
            self.act(lambda: self.club.cancel(run), courses.cancel_cohort, cohort=row, reason="flood", on=self.today)

    @act(when=lambda both: len(both.club.to_come()) < 4, ahead=st.integers(5, 90), seats=st.integers(2, 5))
    def a_run_is_set_up(self, ahead, seats):
        first = self.today + timedelta(days=ahead)
        row = Cohort(
            course=self.course, name=f"Run {len(self.club.runs)}", first_session=first,
            last_session=first + timedelta(days=21), capacity=seats,
        )  # fmt: skip

        def set_up():
            self.club.runs.append(Run(first, first + timedelta(days=21), seats))
            self.club.offer_free()

        self.act(set_up, courses.save_cohort, cohort=row, on=self.today)
