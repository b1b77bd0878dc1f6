from clubdesk.rooms import RoomConfig


class CareConfig(RoomConfig):
    name = "clubdesk.care"
    verbose_name = "Whom to ring, what to know"
