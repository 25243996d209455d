"""API keys: made, listed and revoked by whoever runs the service, and asked for who presents one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from service.errors import DocumentInvalid, KeyExpired, KeyInvalid, NotFound
from service.security import LOCAL_ACCOUNT, SCOPES, Caller, Key, new_key
from service.storage.records import KeyRecord
from service.usecases.accounts import check_name
from service.usecases.context import Context
from tidecore.errors import Fault

#: What is missing where the service asks for keys and has none.
NO_KEY = (
    "there is no API key that can be used: make one with "
    f"`ebbmark keys create --account {LOCAL_ACCOUNT} --scope read --scope write`, or one for another account"
)
#: Compared with where there is no such key, so that this takes as long.
_NOBODY = "0" * 64


@dataclass(frozen=True, slots=True)
class MadeKey:
    """A key just made: its record, and the key itself, which is shown now and never again."""

    record: KeyRecord
    key: Key


def create_key(
    context: Context, account_id: str, scopes: Iterable[str], *, name: str, expires_at: datetime | None
) -> MadeKey:
    """Make a key for an account.

    Raises
    ------
    NotFound
        If there is no such account.
    DocumentInvalid
        For no scope or an unknown one, a name that is none, or an expiry that has passed.
    """
    wanted, now, faults = frozenset(scopes), context.clock(), []
    if not wanted or wanted - set(SCOPES):
        faults.append(Fault("scope", f"is {', '.join(sorted(wanted)) or 'not given'}", f"some of {', '.join(SCOPES)}"))
    if expires_at is not None and expires_at <= now:
        faults.append(Fault("expires", "has passed", "a time to come"))
    if faults:
        raise DocumentInvalid(faults)
    name, key = check_name(name), new_key()
    with context.store.across_accounts(writes=True) as unit:
        if unit.accounts.get(account_id) is None:
            raise NotFound("account", account_id, "one that `ebbmark accounts list` shows")
        record = unit.keys.add(
            account_id,
            name=name,
            prefix=key.prefix,
            secret_hash=key.secret_hash,
            scopes=wanted,
            now=now,
            expires_at=expires_at,
        )
        unit.commit()
    return MadeKey(record, key)


def list_keys(context: Context, account_id: str | None = None) -> list[KeyRecord]:
    """Return every key, or those of one account; NotFound if there is no such account."""
    with context.store.across_accounts() as unit:
        if account_id is not None and unit.accounts.get(account_id) is None:
            raise NotFound("account", account_id, "one that `ebbmark accounts list` shows")
        return unit.keys.all(account_id)


def revoke_key(context: Context, key_id: str) -> KeyRecord:
    """Revoke a key, at once and for good; one that was revoked stays as it is. NotFound if there is none."""
    with context.store.across_accounts(writes=True) as unit:
        record = unit.keys.revoke(key_id, context.clock())
        if record is None:
            raise NotFound("key", key_id, "the id of a key, as `ebbmark keys list` shows it")
        unit.commit()
    return record


def authenticate(context: Context, key: Key) -> Caller:
    """Return who presents a key, as the store has it at this moment.

    Raises
    ------
    KeyInvalid
        If the key is not known, its secret is another, or it was revoked.
    KeyExpired
        If its secret is right and it has expired.
    """
    with context.store.across_accounts() as unit:
        holder = unit.keys.holder(key.prefix)
    fits = key.fits(_NOBODY if holder is None else holder.secret_hash)
    if holder is None or not fits or holder.revoked_at is not None:
        raise KeyInvalid
    if holder.expires_at is not None and holder.expires_at <= context.clock():
        raise KeyExpired(holder.expires_at.isoformat(timespec="seconds").replace("+00:00", "Z"))
    return Caller(holder.account_id, holder.scopes, holder.key_id)


def has_usable_key(context: Context) -> bool:
    """Return whether any key can be used now."""
    with context.store.across_accounts() as unit:
        return unit.keys.any_usable(context.clock())
