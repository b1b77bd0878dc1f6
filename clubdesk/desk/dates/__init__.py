"""The club's dates, made of what each room tells: a page for everybody, a family's own, and feeds for calendars."""
