from clubdesk.rooms import RoomConfig


class MembershipConfig(RoomConfig):
    name = "clubdesk.membership"
    verbose_name = "Membership"
