"""A room that no club has: a locker rented by term. It shows that a new kind of document is one folder.

`tests/house/test_locker.py` builds it into the house by one line in the list of rooms, and takes its declarations
away one by one to see that the house says so.
"""
