"""Password hashes (argon2id) and which passwords are refused."""

import secrets

from pwdlib import PasswordHash
from pwdlib.exceptions import UnknownHashError

from app.errors import BadInput

SHORTEST = 10
LONGEST = 1024

_HASHER = PasswordHash.recommended()
# Checked when there is no such person or no password, so that both answers take the same time.
_DUMMY = _HASHER.hash(secrets.token_urlsafe(16))
# The stems of what people choose first; digits and signs added to them do not help (own list).
_COMMON = [
    "password",
    "passwort",
    "passw0rd",
    "motdepasse",
    "contrasena",
    "letmein",
    "welcome",
    "qwerty",
    "qwertz",
    "azerty",
    "iloveyou",
    "admin",
    "administrator",
    "workshop",
    "garage",
    "revledger",
    "changeme",
    "trustno1",
    "dragon",
    "monkey",
    "football",
    "baseball",
    "superman",
    "secret",
]
_SEQUENCES = (
    "01234567890123456789",
    "98765432109876543210",
    "abcdefghijklmnopqrstuvwxyz",
    "qwertyuiopasdfghjklzxcvbnm",
)


def hash_password(password: str) -> str:
    return _HASHER.hash(password)


def password_fits(password_hash: str | None, password: str) -> bool:
    """Whether the password belongs to the hash; takes the same time when there is no hash."""
    try:
        fits = _HASHER.verify(password[:LONGEST], password_hash or _DUMMY)
    except UnknownHashError:
        return False
    return fits and password_hash is not None


def refuse_weak(password: str, name: str, *, field: str = "password") -> None:
    """Raise `BadInput` for a password that is short, the person's name, one character, a sequence or a common word."""
    if len(password) < SHORTEST:
        raise BadInput(f"The password has fewer than {SHORTEST} characters; choose a longer one.", field=field)
    if len(password) > LONGEST:
        raise BadInput(f"The password has more than {LONGEST} characters; choose a shorter one.", field=field)
    folded = password.casefold()
    letters = "".join(c for c in folded if c.isalpha())
    own = "".join(name.casefold().split())
    if len(set(folded)) < 4 or any(folded in sequence for sequence in _SEQUENCES):
        raise BadInput("The password is a row of the same or neighbouring characters; choose another.", field=field)
    if "".join(folded.split()).strip("0123456789!.?*-_ ") == own or folded == name.casefold():
        raise BadInput("The password is the person's name; choose another.", field=field)
    if letters in _COMMON or folded.strip("0123456789!.?*-_ ") in _COMMON:
        raise BadInput("The password is one of those tried first; choose a few unrelated words.", field=field)
