from clubdesk.rooms import RoomConfig


class EntryfundConfig(RoomConfig):
    name = "clubdesk.entryfund"
    verbose_name = "Entry fund"
