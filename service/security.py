"""Who calls, what for, and whether open mode may answer: pure functions of a request's peer and headers."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import re
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlsplit

from service.errors import KeyMalformed, KeyNeeded, NotLocal

#: What a key may be good for, least first; the last one implies the others.
READ, WRITE, ADMIN = SCOPES = ("read", "write", "admin")

#: Letters and digits of keys; none is easily taken for another.
_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"
#: 50 bits tell keys apart, 160 bits make a secret that nobody guesses, so that a plain hash of it can be kept.
_PREFIX_LENGTH, _SECRET_LENGTH = 10, 32
#: How an API key begins, and the token of a feed.
KEY, FEED_TOKEN = "ebk", "ebf"
_SECRET = re.compile(rf"({KEY}|{FEED_TOKEN})_([{_ALPHABET}]{{{_PREFIX_LENGTH}}})_([{_ALPHABET}]{{{_SECRET_LENGTH}}})")

#: What is a key or a token, or was meant to be one, wherever it stands in a text.
KEY_LIKE = re.compile(rf"(?:{KEY}|{FEED_TOKEN})_[0-9A-Za-z]+_[0-9A-Za-z]+")

#: Account that owns everything private while there are no keys.
LOCAL_ACCOUNT = "acc_local"

#: Headers by which a proxy says that it passed a request on.
_FORWARDING = ("forwarded", "x-real-ip", "via")
_FORWARDING_PREFIX = "x-forwarded-"


@dataclass(frozen=True, slots=True)
class Caller:
    """Who calls: the account that owns what is made and is shown what is its own, and what the key is good for."""

    account_id: str
    scopes: frozenset[str] = frozenset()
    key_id: str | None = None

    def may(self, scope: str) -> bool:
        """Return whether the caller may do what needs ``scope``."""
        return scope in self.scopes or ADMIN in self.scopes


#: Whoever works on this machine: the command line, and every request in open mode.
LOCAL_CALLER = Caller(LOCAL_ACCOUNT, frozenset(SCOPES))


@dataclass(frozen=True, slots=True, repr=False)
class Key:
    """An API key, or the token of a feed, in the open: the prefix it is found by, and the secret that is never kept."""

    prefix: str
    secret: str
    kind: str = KEY

    @property
    def text(self) -> str:
        """The key as its holder sends it."""
        return f"{self.kind}_{self.prefix}_{self.secret}"

    @property
    def secret_hash(self) -> str:
        """SHA-256 of the secret, in hexadecimal: what is kept of it."""
        return hashlib.sha256(self.secret.encode()).hexdigest()

    def fits(self, secret_hash: str) -> bool:
        """Return whether the kept ``secret_hash`` is of this key, in a time that tells nothing of it."""
        return hmac.compare_digest(self.secret_hash, secret_hash)


def new_key(kind: str = KEY) -> Key:
    """Return a new key, or token; its secret has 160 random bits."""
    prefix, secret = (
        "".join(secrets.choice(_ALPHABET) for _ in range(length)) for length in (_PREFIX_LENGTH, _SECRET_LENGTH)
    )
    return Key(prefix, secret, kind)


def key_of(headers: Iterable[tuple[bytes, bytes]]) -> Key:
    """Return the key that a request carries as ``Authorization: Bearer``.

    Parameters
    ----------
    headers : pairs of bytes
        Raw headers.

    Raises
    ------
    KeyNeeded
        If there is no such header, or one of another scheme.
    KeyMalformed
        If there are several, or what it holds has not the form of a key.
    """
    given = [value.decode("latin-1") for name, value in headers if name.lower() == b"authorization"]
    if len(given) > 1:
        raise KeyMalformed("there is more than one Authorization header")
    scheme, _, token = given[0].strip().partition(" ") if given else ("", "", "")
    if scheme.lower() != "bearer":
        raise KeyNeeded
    found = _read(token.strip(), KEY)
    if found is None:
        raise KeyMalformed("what follows Bearer has not the form of a key")
    return found


def token_of(text: str) -> Key | None:
    """Return the token of a feed that a text is, None where it has not the form of one."""
    return _read(text, FEED_TOKEN)


def _read(text: str, kind: str) -> Key | None:
    found = _SECRET.fullmatch(text)
    return Key(found[2], found[3], kind) if found is not None and found[1] == kind else None


def is_loopback(address: str) -> bool:
    """Return whether ``address`` (IPv4 or IPv6 text) is of this machine's loopback."""
    try:
        parsed = ipaddress.ip_address(address.split("%", 1)[0])
    except ValueError:
        return False
    if isinstance(parsed, ipaddress.IPv6Address) and parsed.ipv4_mapped is not None:
        return parsed.ipv4_mapped.is_loopback
    return parsed.is_loopback


def is_local_host(host: str) -> bool:
    """Return whether a ``Host`` value, port or not, names this machine."""
    try:
        parts = urlsplit(f"//{host.strip()}")
        name, _ = parts.hostname, parts.port
    except ValueError:
        return False
    if name is None or parts.username is not None or parts.path or parts.query or parts.fragment:
        return False
    return name.rstrip(".") == "localhost" or is_loopback(name)


def check_local(peer: str | None, headers: Iterable[tuple[bytes, bytes]]) -> None:
    """Refuse a request that does not plainly come from this machine.

    Parameters
    ----------
    peer : str or None
        Address at the other end of the connection; None where there is no address.
    headers : pairs of bytes
        Raw headers, names in lower case.

    Raises
    ------
    NotLocal
        If the peer is not loopback, the Host or Origin is not local, or a proxy passed the request on.
    """
    if peer is None or not is_loopback(peer):
        raise NotLocal("the request comes from another machine; call it from this one")
    hosts: list[str] = []
    for raw_name, raw_value in headers:
        name, value = raw_name.decode("latin-1").lower(), raw_value.decode("latin-1")
        if name in _FORWARDING or name.startswith(_FORWARDING_PREFIX):
            raise NotLocal(f"the request carries the forwarding header {name}; call it without a proxy")
        if name == "host":
            hosts.append(value)
        if name == "origin" and not is_local_host(urlsplit_netloc(value)):
            raise NotLocal("the Origin is a page of another site; expected a page of this machine")
    if len(hosts) != 1 or not is_local_host(hosts[0]):
        raise NotLocal("the Host is not local; call it as localhost or 127.0.0.1")


def urlsplit_netloc(origin: str) -> str:
    """Return host and port of an ``Origin`` value, or empty text if it has none."""
    try:
        return urlsplit(origin.strip()).netloc
    except ValueError:
        return ""
