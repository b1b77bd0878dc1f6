"""A roll of 300 rows as a club might have kept it for years, made up from a seed; it knows nothing of what reads it.

Headings, words and faults are of its own invention, and what is wrong of each row is told beside it.
"""

import csv
import io
import random
from datetime import date, timedelta

HEADS = ("Kid", "Last", "Born on", "Whose", "Ring", "Write to", "Sort", "Good to")
SYLLABLES = ("bar", "dol", "fen", "gri", "hal", "jor", "kem", "lin", "mor", "nel", "pol", "quin", "rud", "sel", "tam")
DAYS = ("%d/%m/%Y", "%d.%m.%y", "%d-%b-%Y", "%d %B %Y", "%Y-%m-%d")
SORTS = ("Junior", "JUNIOR", "Jnr", "junior annual")
ODD_SORTS = ("Comes for free", "pay as you go")
ROWS, UNDATED, NOT_A_DAY, NO_BIRTH, ODD = 300, 58, 4, 3, 20


def harsh_roll(seed=7):
    """The file as text, and the rows by what is wrong of them: `undated`, `odd` and `wrong` for good."""
    draw = random.Random(seed)
    kinds = ["undated"] * UNDATED + ["odd"] * ODD + ["wrong day"] * NOT_A_DAY + ["no birth"] * NO_BIRTH
    kinds += ["good"] * (ROWS - len(kinds))
    draw.shuffle(kinds)
    file, told = io.StringIO(), {"undated": [], "odd": [], "wrong": []}
    writer = csv.writer(file, delimiter=";", lineterminator="\n")
    writer.writerow(["Everybody, as of spring"] + [""] * 7)
    writer.writerow(HEADS)
    for place, kind in enumerate(kinds):
        writer.writerow(_row(draw, place, kind))
        what = {"wrong day": "wrong", "no birth": "wrong"}.get(kind, kind)
        told.get(what, []).append(place + 3)
    return file.getvalue(), told


def _row(draw, place, kind):
    """Families of three, each with its own address; every other writes it with the first child alone."""
    home = place // 3
    last = f"{SYLLABLES[home % 15]}{SYLLABLES[home // 15]}".capitalize() + "ski"
    kid = f"{SYLLABLES[place % 15]}{SYLLABLES[place // 15 % 15]}{'aeiou'[place % 5]}".capitalize()
    born = date(2011, 1, 1) + timedelta(days=place * 5)
    written = {"wrong day": "31/02/2013", "no birth": "?"}.get(kind, born.strftime(draw.choice(DAYS)))
    case = draw.choice((str, str, str.upper, str.lower))
    sort = draw.choice(ODD_SORTS if kind == "odd" else SORTS)
    good_to = draw.choice(("", "-", "n/a")) if kind == "undated" else "30/6/27"
    mail = f"{last.lower()}{home}@example.org"
    return [case(kid), case(last), written, f"Pat {last}", f"0491 570 {home:03d}", mail, sort, good_to]
