"""The secrets of apps and recovery codes as the database holds them: sealed with a key of this installation's own.

The key is derived from `SECRET_KEY` by a salt that nothing else uses; what was sealed under one of
`SECRET_KEY_FALLBACKS` is still read, and sealed anew under the first by the next night or `migrate`. A backup without
the key holds no secret that anybody can use. Source of the derivation: RFC 5869 (HKDF).
"""

import base64
import logging
import os

from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.db import transaction

log = logging.getLogger(__name__)
SALT = b"clubdesk.desk.signin.sealing"
SEALED = "sealed:"
"""What a sealed secret begins with; what does not was written before secrets were sealed."""
NAMES = ("secret", "seed")


class MFAAdapter(DefaultMFAAdapter):  # type: ignore[misc] # it has no types
    def encrypt(self, text: str) -> str:
        return f"{SEALED}{_keys().encrypt(text.encode()).decode()}"

    def decrypt(self, encrypted_text: str) -> str:
        """One that no key opens gives a secret that nobody has: no code fits it, and an administrator helps."""
        if not encrypted_text.startswith(SEALED):
            return encrypted_text
        try:
            return _keys().decrypt(encrypted_text.removeprefix(SEALED).encode()).decode()
        except InvalidToken:
            log.warning("A second step was sealed under a key that this installation does not know; it opens nothing.")
            return base64.b32encode(os.urandom(20)).decode()


def seal_anew() -> int:
    """Seal under the key of now what is not yet, or under an earlier one; returns how many second steps it was.

    What no key opens stays as it is: the key may come back.
    """
    kinds = (Authenticator.Type.TOTP, Authenticator.Type.RECOVERY_CODES)
    with transaction.atomic():
        rows = Authenticator.objects.select_for_update(of=("self",), no_key=True).filter(type__in=kinds).order_by("pk")
        return sum(_seal_anew(row) for row in rows)


def _seal_anew(row: Authenticator) -> bool:
    adapter, changed = MFAAdapter(), {}
    for name in NAMES:
        held = row.data.get(name)
        if held and not _opens(Fernet(_key(str(settings.SECRET_KEY))), held) and _opens(_keys(), held):
            changed[name] = adapter.encrypt(adapter.decrypt(held))
        elif held and not held.startswith(SEALED):
            changed[name] = adapter.encrypt(held)
    if changed:
        row.data |= changed
        row.save(update_fields=["data"])
    return bool(changed)


def _opens(key: Fernet | MultiFernet, held: str) -> bool:
    try:
        key.decrypt(held.removeprefix(SEALED).encode())
    except InvalidToken:
        return False
    return True


def _keys() -> MultiFernet:
    """Seals under the first, opens under any."""
    return MultiFernet([Fernet(_key(str(each))) for each in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)])


def _key(secret: str) -> bytes:
    made = HKDF(algorithm=SHA256(), length=32, salt=SALT, info=b"").derive(secret.encode())
    return base64.urlsafe_b64encode(made)
