"""The keys by which this installation signs links and files, kept in a backup only under a passphrase."""

import base64
import json
import os
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt
from django.conf import settings

from clubdesk.errors import Refused

SHORTEST = 12
COST = {"n": 2**15, "r": 8, "p": 1}
"""Of scrypt. Source: OWASP Password Storage Cheat Sheet, which names N = 2^17, r = 8, p = 1 and weaker equals."""
NAMES = ("SECRET_KEY", "EXPORT_KEY")
"""Settings; where the environment does not name one it lies in a file of that name beside manage.py."""
Keys = dict[str, str]


def sealed(passphrase: str) -> bytes:
    """This installation's keys as only the passphrase opens them (AES-256-GCM). Raises Refused if it is short."""
    if len(passphrase) < SHORTEST:
        raise Refused(f"A passphrase has {SHORTEST} characters or more; a few words that nobody would guess do.")
    salt, nonce = os.urandom(16), os.urandom(12)
    held = json.dumps({name: str(getattr(settings, name)) for name in NAMES})
    text = AESGCM(_key(passphrase, salt)).encrypt(nonce, held.encode(), None)
    told = {"salt": salt, "nonce": nonce, "text": text}
    return json.dumps({name: base64.b64encode(each).decode() for name, each in told.items()}).encode()


def opened(content: bytes, passphrase: str) -> Keys:
    """The keys that a backup holds, by their names. Raises Refused for another passphrase."""
    told = {name: base64.b64decode(each) for name, each in json.loads(content).items()}
    try:
        text = AESGCM(_key(passphrase, told["salt"])).decrypt(told["nonce"], told["text"], None).decode()
    except InvalidTag:
        raise Refused("This is not the passphrase that the backup was made with.") from None
    if not text.startswith("{"):
        return {"SECRET_KEY": text}  # of before exported files had a key of their own
    held: Keys = json.loads(text)
    return {name: held[name] for name in NAMES}


def put_in_place(keys: Keys) -> str:
    """Make them this installation's from its next start, and say what became of them; those before are kept beside."""
    set_here = [name for name in keys if os.environ.get(name)]
    for name in set(keys) - set(set_here):
        _put(Path(settings.BASE_DIR) / f".{name.lower()}", keys[name])
    if set_here:
        names = " and ".join(set_here)
        return f"{names}: set in the environment, so it stays; what the backup's key signed is not known here."
    return "The keys came with it: links and signed files are known as before."


def _put(path: Path, key: str) -> None:
    if path.exists() and path.read_text() != key:
        os.replace(path, path.with_name(f"{path.name}.before"))
    if not path.exists():
        with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(key)


def _key(passphrase: str, salt: bytes) -> bytes:
    return Scrypt(salt=salt, length=32, **COST).derive(passphrase.encode())
