from clubdesk.rooms import RoomConfig


class MailConfig(RoomConfig):
    name = "clubdesk.mail"
    verbose_name = "Mail"
