from clubdesk.rooms import RoomConfig


class NewsConfig(RoomConfig):
    name = "clubdesk.news"
    verbose_name = "News"
