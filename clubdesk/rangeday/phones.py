"""What a phone sends from the range, read strictly: each tap by itself, on the book's own clock."""

import uuid
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from clubdesk import clock
from clubdesk.rangeday.models import Act, Gear, Paid
from clubdesk.rangeday.services.taps import Tapped

UNREADABLE = "unreadable"
"""What a tap is answered that nobody can make anything of; the phone then says so and keeps it no longer."""
WRONG = (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError)
"""What reading raises where something else was sent than the sheet sends."""


def ahead(now: object) -> timedelta:
    """How far the phone's clock is ahead of this machine's, by what it says the moment is; in whole minutes, since the
    way of a message takes seconds. Zero where it says nothing that can be read.
    """
    try:
        minutes = (_moment(now) - clock.machine()) / timedelta(minutes=1)
    except WRONG:
        return timedelta()
    return timedelta(minutes=round(minutes))


def tapped_of(sent: dict[str, Any], ahead: timedelta = timedelta()) -> Tapped:
    """What was sent by a phone whose clock is `ahead`; never later than now. Raises one of WRONG."""
    return Tapped(
        key=uuid.UUID(sent["key"]),
        at=_by_our_clock(_moment(sent["at"]), ahead),
        undo=bool(sent.get("undo")),
        act=Act(sent.get("act", Act.SIGN_ON)),
        kit=_number(sent.get("kit")),
        holder=uuid.UUID(sent["holder"]) if sent.get("holder") else None,
        safety=_number(sent.get("safety")),
        gear=Gear(sent.get("gear", Gear.OWN)),
        paid=Paid(sent.get("paid", Paid.NOTHING)),
        people=tuple(_row(pk) for pk in sent.get("people", ()))[:12],
        visitor=uuid.UUID(sent["visitor"]) if sent.get("visitor") else None,
        visitor_name=_text(sent.get("visitor_name", "")),
        visitor_guardian=_text(sent.get("visitor_guardian", "")),
        visitor_phone=_text(sent.get("visitor_phone", "")),
    )


def phone_of(body: Mapping[str, Any]) -> tuple[uuid.UUID, int] | None:
    """Which phone sends, and how many entries it keeps besides; None where it does not say."""
    try:
        return uuid.UUID(body["phone"]), int(body["unsent"])
    except WRONG:
        return None


def unreadable(sent: object) -> list[object] | None:
    """The answer to a tap that cannot be read, under the key that it came with; None where it has none."""
    if not isinstance(sent, dict) or not isinstance(sent.get("key"), str):
        return None
    return [sent["key"], UNREADABLE, "The book cannot read it.", int(bool(sent.get("undo")))]


def _moment(sent: object) -> datetime:
    at = datetime.fromisoformat(sent)  # type: ignore[arg-type]
    if at.tzinfo is None:
        raise ValueError("a moment without its time zone")
    return at


def _by_our_clock(at: datetime, ahead: timedelta) -> datetime:
    """When it was, at the latest now; a phone whose clock is quite wrong still says what happened."""
    if not 2000 < at.year < 2100:
        return clock.now()
    return min(at - ahead, clock.machine())


def _text(sent: Any) -> str:
    """What was typed, without what no database keeps: half characters and nulls."""
    return str(sent).encode("utf-8", "ignore").decode("utf-8").replace("\0", "").strip()


def _number(sent: Any) -> int | None:
    return None if sent is None else _row(sent)


def _row(sent: Any) -> int:
    number = int(sent)
    if not 0 < number < 2**63:
        raise ValueError("a number that no row has")
    return number
