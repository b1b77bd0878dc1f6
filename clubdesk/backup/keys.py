"""The key by which this installation signs files and links, kept in a backup only under a passphrase."""

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
KEY_FILE = ".secret_key"


def sealed(passphrase: str) -> bytes:
    """This installation's key as only the passphrase opens it (AES-256-GCM). Raises Refused if it is short."""
    if len(passphrase) < SHORTEST:
        raise Refused(f"A passphrase has {SHORTEST} characters or more; a few words that nobody would guess do.")
    salt, nonce = os.urandom(16), os.urandom(12)
    text = AESGCM(_key(passphrase, salt)).encrypt(nonce, str(settings.SECRET_KEY).encode(), None)
    told = {"salt": salt, "nonce": nonce, "text": text}
    return json.dumps({name: base64.b64encode(each).decode() for name, each in told.items()}).encode()


def opened(content: bytes, passphrase: str) -> str:
    """The key that a backup holds. Raises Refused for another passphrase."""
    told = {name: base64.b64decode(each) for name, each in json.loads(content).items()}
    try:
        return AESGCM(_key(passphrase, told["salt"])).decrypt(told["nonce"], told["text"], None).decode()
    except InvalidTag:
        raise Refused("This is not the passphrase that the backup was made with.") from None


def put_in_place(key: str) -> str:
    """Make it this installation's key from its next start, and say what became of it. The key before is kept beside."""
    path = Path(settings.BASE_DIR) / KEY_FILE
    if os.environ.get("SECRET_KEY"):
        return "SECRET_KEY is set in the environment and stays; files signed with the backup's key are not known here."
    if path.exists() and path.read_text() != key:
        os.replace(path, path.with_name(f"{KEY_FILE}.before"))
    if not path.exists():
        with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(key)
    return "The key came with it: links and signed files are known as before."


def _key(passphrase: str, salt: bytes) -> bytes:
    return Scrypt(salt=salt, length=32, **COST).derive(passphrase.encode())
