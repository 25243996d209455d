"""Who calls, and whether open mode may answer: pure functions of a request's peer and headers."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlsplit

from service.errors import NotLocal

#: Account that owns everything private while there are no keys.
LOCAL_ACCOUNT = "acc_local"

#: Headers by which a proxy says that it passed a request on.
_FORWARDING = ("forwarded", "x-real-ip", "via")
_FORWARDING_PREFIX = "x-forwarded-"


@dataclass(frozen=True, slots=True)
class Caller:
    """Who calls: the account that owns what is made and is shown what is its own."""

    account_id: str


LOCAL_CALLER = Caller(LOCAL_ACCOUNT)


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
