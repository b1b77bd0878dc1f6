from clubdesk.rooms import RoomConfig


class RangedayConfig(RoomConfig):
    name = "clubdesk.rangeday"
    verbose_name = "Range day"
