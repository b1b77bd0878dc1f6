from clubdesk.rooms import RoomConfig


class RollConfig(RoomConfig):
    name = "clubdesk.roll"
    verbose_name = "Roll"
