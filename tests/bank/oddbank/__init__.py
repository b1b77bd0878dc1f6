"""A second generator of statement files, with the oddities of real banks, and how matching does by it.

`club.py` makes a year of a club's account: files as a bank exports them, what the book knows, and what each line truly
is. It shares no code and no list of words with the matcher, nor with the first generator (`bankyear.py`).
`judging.py` reads the files and asks the matcher month by month. `python -m tests.bank.oddbank` prints the table.
"""
