"""What families are asked to agree to, in the words that a club begins with; it may write its own."""

DATA = (
    "The club keeps the names, birth dates and contacts that you give it, to run courses and range days, to reach "
    "you, and to keep its books as the law asks. Where somebody becomes a member, the sport’s associations get "
    "the member’s name, birth date and contacts. Where you hand in a sport voucher, its department gets the "
    "child’s name, birth date and the code. Nobody else gets them unless you say so first, or the law asks for "
    "it. What you write about health and whom to ring is seen by the coordinator, and by helpers on a range day "
    "for which the person is signed on. You may see what is held, have it put right, and withdraw this at any "
    "time."
)
PHOTOS = (
    "The club may take photos and films at the range and at competitions in which the child can be recognised, "
    "and show them on its own pages, in its news and on its notice board, without the child’s full name. You may "
    "withdraw this at any time: nothing new is shown then, and what stands on our own pages is taken down."
)
FIRST_AID = (
    "If the child is hurt or unwell, a helper may give first aid and call an ambulance, and tell them what you "
    "have written about health. We ring the people that you named as soon as we can."
)
NEWS = (
    "The club may write to you by e-mail about what is on: range days, courses, events and what the club plans. Each "
    "such letter has a link that ends them at once. What concerns your own bookings, your money or your safety still "
    "reaches you."
)
