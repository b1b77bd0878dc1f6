from clubdesk.rooms import RoomConfig


class FeesConfig(RoomConfig):
    name = "clubdesk.fees"
    verbose_name = "Fees"
