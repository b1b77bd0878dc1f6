"""The rules about courses that the database itself keeps."""

from clubdesk.guards import Guard, replaces_nothing

SEATED = "('held', 'offered')"


def _overfull(own: str) -> str:
    return (
        f"NEW.state IN {SEATED} AND (SELECT COUNT(*) FROM courses_place p WHERE p.cohort_id = NEW.cohort_id"
        f" AND p.state IN {SEATED} AND p.id <> {own}) >="
        " (SELECT c.capacity FROM courses_cohort c WHERE c.id = NEW.cohort_id)"
    )


FULL = "The cohort is full."
GUARDS = [
    Guard("courses_place_insert_fits", "courses_place", "INSERT", when=_overfull("-1"), message=FULL),
    Guard("courses_place_update_fits", "courses_place", "UPDATE", when=_overfull("OLD.id"), message=FULL),
    Guard(
        "courses_capacity_holds_its_places",
        "courses_cohort",
        "UPDATE",
        when="NEW.capacity < (SELECT COUNT(*) FROM courses_place p"
        f" WHERE p.cohort_id = NEW.id AND p.state IN {SEATED})",
        message="More places are taken than that; withdraw some first.",
    ),
    Guard(
        "courses_queue_number_keeps",
        "courses_place",
        "UPDATE",
        when="OLD.queue_number IS NOT NULL AND (NEW.queue_number IS NULL OR NEW.queue_number <> OLD.queue_number)",
        message="The order of a waitlist never changes silently.",
    ),
    replaces_nothing("courses_place", "place", "id", "key"),
    Guard("courses_place_stays", "courses_place", "DELETE", message="A place is withdrawn, never deleted."),
]
