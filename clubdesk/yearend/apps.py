from clubdesk.rooms import RoomConfig


class YearendConfig(RoomConfig):
    name = "clubdesk.yearend"
    verbose_name = "Year’s end"
