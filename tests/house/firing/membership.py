"""What makes the guards of the memberships fire."""

from tests.house.firing import Cases, Fires, added, changed

MEMBERSHIP, LINE = "membership_membership", "membership_remittanceline"
CANCELLED = changed(MEMBERSHIP, cancelled_on="'2026-09-12'")
IN_2030 = {"starts_on": "'2030-07-01'", "ends_on": "'2031-06-30'", "charge_id": "NULL"}
THAT_ONE = "starts_on = '2030-07-01'"

CASES: Cases = {
    "membership_only_shortens": [
        Fires(
            changed(MEMBERSHIP, ends_on="'2031-06-30'"), spares=[changed(MEMBERSHIP, ends_on="'2026-09-30'"), CANCELLED]
        ),
        Fires(changed(MEMBERSHIP, cancelled_on="NULL"), before=[CANCELLED]),
    ],
    "membership_insert_once_a_day": Fires(
        added(MEMBERSHIP, charge_id="NULL"),
        added(MEMBERSHIP, starts_on="ends_on", ends_on="'2031-06-30'"),
        added(MEMBERSHIP, starts_on="'2020-01-01'", ends_on="starts_on"),
        spares=[
            added(MEMBERSHIP, **IN_2030),
            added(MEMBERSHIP, person_id="person_id + 1000"),
            added(MEMBERSHIP, cancelled_on="'2026-09-12'"),
        ],
    ),
    "membership_update_once_a_day": Fires(
        changed(MEMBERSHIP, THAT_ONE, starts_on="'2026-07-06'"),
        before=[added(MEMBERSHIP, **IN_2030)],
        spares=[changed(MEMBERSHIP, THAT_ONE, ends_on="'2030-12-31'"), changed(MEMBERSHIP, working="'other'")],
    ),
    "membership_share_remitted_once": Fires(
        added(LINE, amount=1), added(LINE, amount="-amount - 1"), spares=[added(LINE, amount="-amount")]
    ),
    "membership_remits_its_own_shares": Fires(
        added(LINE, remittance_id="(SELECT MAX(id) FROM membership_remittance)"),
        before=[added("membership_remittance", association_id="association_id + 1")],
        spares=[added(LINE)],
    ),
}
