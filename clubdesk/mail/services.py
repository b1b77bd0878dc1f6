"""Verbs of the mail room: a letter is written with the change it tells of, and goes out by itself afterwards."""

import logging
import smtplib
import threading
import uuid
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth.models import User
from django.core.mail import EmailMultiAlternatives
from django.db import connections, transaction
from django.db.models import F

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.guards import held_by_this_session, one_at_a_time
from clubdesk.ledger.models import Book
from clubdesk.ledger.selectors import book
from clubdesk.ledger.services import lock_book
from clubdesk.lettering import LetterKind, Wording, faults, tidy
from clubdesk.mail import selectors
from clubdesk.mail.looks import as_html
from clubdesk.mail.models import LINK, LetterText, Message, MessageState
from clubdesk.mail.smtp import AnswerLost
from clubdesk.roll import links
from clubdesk.roll.models import Household
from clubdesk.verbs import NOBODY, part, verb

log = logging.getLogger(__name__)
GIVE_UP_AFTER = timedelta(days=5)
LONGEST_PAUSE = timedelta(hours=4)
MOST_CUT_OFF = 5
"""So many connections in a row that the server drops end a round."""
GOES_ON_AFTER = 300
"""After so many seconds whoever delivers looks again, while letters wait."""
OUR_OWN_TROUBLE = (
    smtplib.SMTPAuthenticationError,
    smtplib.SMTPConnectError,
    smtplib.SMTPHeloError,
    smtplib.SMTPSenderRefused,
)
"""What a server says of the club's own account, not of one letter: all letters wait until it is put right."""


@dataclass
class Delivered:
    """What a round came to."""

    sent: int = 0
    delayed: int = 0
    failed: int = 0
    unwanted: int = 0
    hour_is_full: bool = False
    """Whether the round ended because the mail server takes no more in this hour."""
    cut_off: int = field(default=0, compare=False)
    """How often in a row the server has dropped the connection."""


class HourIsFull(Exception):
    """The mail server takes no further letter of that kind in this hour."""


class Unwanted(Exception):
    """Whom the news is for wants none any more."""


def draft(
    *, about: str, to: str, subject: str, body: str, household: Household | None = None, link_path: str = ""
) -> Message:
    """A letter as it would be written; nothing is saved."""
    return Message(
        about=about,
        household=household,
        to=to,
        subject=" ".join(subject.split())[:150],
        body=body,
        link_path=link_path,
        state=MessageState.WAITING if to else MessageState.NO_ADDRESS,
    )


def write_message(
    *, about: str, to: str, subject: str, body: str, household: Household | None = None, link_path: str = ""
) -> Message:
    """Write a letter; once the change it tells of is saved it goes out. The same `about` again changes nothing."""
    return write(draft(about=about, to=to, subject=subject, body=body, household=household, link_path=link_path))


@part
def write(letter: Message) -> Message:
    """The same for a letter that was drafted."""
    fields = ("household", "to", "subject", "body", "link_path", "state")
    message, new = Message.objects.get_or_create(
        about=letter.about, defaults={name: getattr(letter, name) for name in fields}
    )
    if new and letter.to and settings.MAIL_GOES_OUT_BY_ITSELF:
        transaction.on_commit(deliver_soon)
    return message


def untold(abouts: Collection[str]) -> set[str]:
    """Those that no letter tells of yet. Of two nights at once the second waits, and finds what the first wrote."""
    if not (due := selectors.without_letter(abouts)):
        return due
    lock_book()
    return selectors.without_letter(abouts)


@verb(permission="mail.change_message", title="Send this letter")
def send_again(*, message: Message, to: str, by: User) -> Message:
    """Try a letter once more that failed or had no address, now to `to`.

    Raises Refused for one that went out, and for an address that is not one of the household's guardians: the letter
    may hold the family's own link.
    """
    document = Message.objects.select_for_update(of=("self",), no_key=True).get(pk=message.pk)
    if document.state == MessageState.WAITING:
        return document
    if document.state not in (MessageState.FAILED, MessageState.NO_ADDRESS):
        raise Refused(f"This letter is not to be sent again: {document.get_state_display().lower()}.")
    if to.lower() not in selectors.addresses_of(document):
        raise Refused("Choose the address of a guardian; put a new one on the family's page first.")
    document.state, document.next_try_at, document.tries = MessageState.WAITING, clock.now(), 0
    document.written_at, document.to = clock.now(), to
    document.outcome = f"asked for again by {by.get_username()}"
    document.save()
    if settings.MAIL_GOES_OUT_BY_ITSELF:
        transaction.on_commit(deliver_soon)
    return document


@verb(permission="mail.change_message", title="Send a test letter")
def send_test_letter(*, by: User, key: uuid.UUID) -> Message:
    """A letter to whoever asks for it, which shows that letters go out. Raises Refused where they have no e-mail."""
    if not by.email:
        raise Refused("Your own sign-in has no e-mail address; ask an administrator to add it.")
    club = book().club_name
    body = f"Hello\n\nThis is a test: letters of {club} go out, and this is how they arrive.\n\n{club}\n"
    return write_message(about=f"test {key}", to=by.email, subject=f"{club}: a test letter", body=body)


@verb(permission="mail.change_lettertext", title="Change the text of a letter")
def change_letter(*, kind: str, subject: str, body: str, by: User, seen: int | None = None) -> LetterText:
    """Give a kind of letter a text of the club's own, by which the next ones are written. The same again adds nothing.

    `seen` is the id of the latest text that whoever changes it has seen, 0 for none. Raises Refused where another
    came since, and in a sentence a fault for a text that lacks what such a letter must have, or cannot be read.
    """
    named, latest = _held(kind)
    own, stands = Wording(" ".join(subject.split()), tidy(body)), latest.wording if latest else None
    if latest and own == stands:
        return latest
    if seen is not None and seen != (latest.pk if latest else 0):
        raise Refused("Somebody has changed this letter since you opened the page; look at it again, then save.")
    if found := faults(named, own):
        raise Refused(list(found))
    if own == Wording(named.subject, tidy(named.body)):
        raise Refused("This is the text that came with the program; to have it again, put it back.")
    return LetterText.objects.create(kind=kind, subject=own.subject, body=own.body, changed_by=by)


@verb(permission="mail.change_lettertext", title="Put the first text back")
def put_back(*, kind: str, by: User) -> LetterText:
    """Write letters of a kind by the text that came with the program again; the club's own stays in the history."""
    _, latest = _held(kind)
    if latest is None:
        raise Refused("This letter has the text that came with the program already.")
    return LetterText.objects.create(kind=kind, changed_by=by) if latest.body else latest


def _held(kind: str) -> tuple[LetterKind, LetterText | None]:
    """A kind of letter that nobody else changes meanwhile, and its latest text. Raises Refused where there is none."""
    named = selectors.kinds().get(kind)
    if named is None:
        raise Refused("There is no such letter; choose one from the list.")
    one_at_a_time(f"text of {kind}")
    return named, selectors.own_text(named)


@verb(permission=NOBODY, title="Send the letters that wait", whole=False)
def deliver(*, at: datetime | None = None) -> Delivered:
    """Send every letter that is due, each once, whoever else delivers at the same moment.

    A letter is claimed in a transaction of its own before it is sent, so that a crash leaves it claimed rather
    than sent twice. A server that is down, or drops so many connections in a row, ends the round; the letters wait and
    are tried again, at growing intervals, for five days. Source: RFC 5321 section 4.5.4.1 (give up after four or five
    days). So does an hour in which the server has taken as many as the club says that it takes.
    """
    done, limit = Delivered(), Book.objects.values_list("letters_an_hour", flat=True).first()
    _name_the_interrupted(at or clock.now())
    while found := selectors.due(at or clock.now()).values_list("pk", "is_news").first():
        pk, is_news = found
        with held_by_this_session(_hold_of(pk)) as ours:
            try:
                message = _claim(pk, at or clock.now(), limit, is_news) if ours else None
            except HourIsFull:
                done.hour_is_full = True
                break
            if message and not _send(message, done, at or clock.now()):
                break
    return done


def _hold_of(pk: int) -> str:
    """What the database holds for whoever sends the letter, as long as their session lives."""
    return f"letter {pk}"


def _claim(pk: int, at: datetime, limit: int | None, is_news: bool) -> Message | None:
    """A letter that is due, made ours; another round that saw it too comes away empty-handed.

    Raises HourIsFull; two rounds at once count one after the other.
    """
    with transaction.atomic():
        if limit:
            one_at_a_time("letters of an hour")
            if selectors.is_hour_full(limit, is_news, at):
                raise HourIsFull
        ours = Message.objects.filter(pk=pk, state=MessageState.WAITING).update(
            state=MessageState.SENDING, tried_at=at, tries=F("tries") + 1
        )
    return Message.objects.get(pk=pk) if ours else None


def _send(message: Message, done: Delivered, at: datetime) -> bool:
    """Hand the letter to the server and keep what became of it; False where the server cannot be reached."""
    try:
        _email(message).send()
    except smtplib.SMTPRecipientsRefused as refusal:
        code, words = next(iter(refusal.recipients.values()))
        return _refused(message, done, at, code, words)
    except AnswerLost as loss:
        _fail(message, done, f"the connection broke as it was given over; ask the family whether it came: {loss}")
        return _goes_on(loss, done)
    except OUR_OWN_TROUBLE as trouble:
        _delay(message, done, at, f"the mail server does not take the club's mail: {trouble}")
        return False
    except smtplib.SMTPResponseException as refusal:
        return _refused(message, done, at, refusal.smtp_code, refusal.smtp_error)
    except (OSError, smtplib.SMTPException) as trouble:
        _delay(message, done, at, f"the mail server cannot be reached: {trouble}")
        return _goes_on(trouble, done)
    except Unwanted:
        message.state, message.outcome = MessageState.UNWANTED, "they ended the club’s news before it went out"
        message.save(update_fields=["state", "outcome"])
        done.unwanted += 1
        return True
    except ValueError as fault:
        _fail(message, done, f"the letter cannot be written: {fault}")
        return True
    message.state, message.sent_at, message.outcome = MessageState.SENT, at, "accepted by the mail server"
    message.save(update_fields=["state", "sent_at", "outcome"])
    done.sent += 1
    done.cut_off = 0
    return True


def _goes_on(trouble: Exception, done: Delivered) -> bool:
    """Whether a round goes on with the next letter: the server is there and has dropped the connection, not too often.

    One that says nothing until our patience ends would hold the round up with each letter.
    """
    done.cut_off += 1
    is_slow = isinstance(trouble, TimeoutError) or isinstance(trouble.__context__, TimeoutError)
    is_there = isinstance(trouble, smtplib.SMTPServerDisconnected | ConnectionResetError | BrokenPipeError)
    return is_there and not is_slow and done.cut_off < MOST_CUT_OFF


def _email(message: Message) -> EmailMultiAlternatives:
    """The letter as plain words, and the same as HTML for whoever reads that."""
    link = f"{settings.SITE_URL}{_link_of(message)}" if message.link_path else ""
    domain = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].rstrip(">") or "localhost"
    mail = EmailMultiAlternatives(
        subject=message.subject,
        body=message.body.replace(LINK, link),
        to=[message.to],
        headers={
            "Message-ID": f"<letter-{message.pk}-{message.written_at:%Y%m%d%H%M%S}@{domain}>",
            **(ends_news(link) if message.is_news else {}),
        },
    )
    mail.attach_alternative(as_html(message.subject, message.body, link), "text/html")
    return mail


def _link_of(message: Message) -> str:
    """The guardian's own link, made as the letter goes out. Raises ValueError where its address is nobody's now."""
    home = message.household
    guardian = home.guardians.filter(email__iexact=message.to).first() if home else None
    if guardian is None:
        raise ValueError("its address is no guardian's any more; send it to one that is")
    if message.is_news and guardian.news_ended_at:
        raise Unwanted
    return links.path_for(guardian, message.link_path)


def ends_news(link: str) -> dict[str, str]:
    """What lets a mail program end the news by a tap of its own. Source: RFC 8058 section 3.1, which asks for HTTPS."""
    by_one_tap = {"List-Unsubscribe-Post": "List-Unsubscribe=One-Click"} if link.startswith("https:") else {}
    return {"List-Unsubscribe": f"<{link}>", **by_one_tap}


def _refused(message: Message, done: Delivered, at: datetime, code: int, words: bytes | str) -> bool:
    """What the server says starts with 4 where it may be tried again and with 5 where not (RFC 5321 section 4.2.1)."""
    said = f"{code} {words.decode(errors='replace') if isinstance(words, bytes) else words}"
    if 400 <= code < 500:
        _delay(message, done, at, f"the mail server says: {said}")
    else:
        _fail(message, done, f"the mail server refuses it: {said}")
    return True


def _delay(message: Message, done: Delivered, at: datetime, outcome: str) -> None:
    if at - message.written_at > GIVE_UP_AFTER:
        _fail(message, done, f"given up after five days; {outcome}")
        return
    pause = min(timedelta(minutes=2 ** min(message.tries, 12)), LONGEST_PAUSE)
    message.state, message.next_try_at = MessageState.WAITING, at + pause
    message.outcome = outcome[:200]
    message.save(update_fields=["state", "next_try_at", "outcome"])
    done.delayed += 1


def _fail(message: Message, done: Delivered, outcome: str) -> None:
    message.state, message.outcome = MessageState.FAILED, outcome[:200]
    message.save(update_fields=["state", "outcome"])
    done.failed += 1


def _name_the_interrupted(at: datetime) -> None:
    """Letters that nobody sends any more, whatever the clock says of the server that began."""
    for pk in list(selectors.interrupted(at).values_list("pk", flat=True)):
        with held_by_this_session(_hold_of(pk)) as nobody_sends_it:
            if nobody_sends_it:
                selectors.interrupted(at).filter(pk=pk).update(
                    state=MessageState.FAILED, outcome="interrupted while going out; ask the family whether it came"
                )


_turn = threading.Lock()
_round = {"running": False, "wanted": False, "later": False}


def deliver_soon() -> None:
    """Deliver in the background of this process, one round at a time; nobody waits for the mail server."""
    with _turn:
        _round["wanted"] = True
        if _round["running"]:
            return
        _round["running"] = True
    threading.Thread(target=_deliver_while_wanted, name="mail", daemon=True).start()


def _deliver_while_wanted() -> None:
    while True:
        with _turn:
            if not _round["wanted"]:
                _round["running"] = False
                return
            _round["wanted"] = False
        try:
            deliver()
        except Exception:
            log.exception("A round of mail ended early; the letters wait.")
        finally:
            _look_again_later()
            connections.close_all()


def _look_again_later() -> None:
    """While letters wait, for the next hour or for a server that is down, this process goes on by itself, once."""
    if not settings.MAIL_GOES_OUT_BY_ITSELF or not Message.objects.filter(state=MessageState.WAITING).exists():
        return
    with _turn:
        if _round["later"]:
            return
        _round["later"] = True
    later = threading.Timer(GOES_ON_AFTER, _go_on)
    later.daemon = True
    later.start()


def _go_on() -> None:
    with _turn:
        _round["later"] = False
    deliver_soon()
