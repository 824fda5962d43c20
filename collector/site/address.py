"""The address at which a phone in the plant room reaches the pages: printed on labels, so it must be one."""

from __future__ import annotations

from ipaddress import ip_address
from typing import Final
from urllib.parse import urlsplit

_EXAMPLE: Final = "expected one such as 'http://pumps.local:8620'"


def reachable(address: str) -> str:
    """Return the address without a slash at its end.

    Raises
    ------
    ValueError
        When it is no web address, or one that reaches nothing but the machine it is asked from.

    >>> reachable("http://pumps.local:8620/")
    'http://pumps.local:8620'
    """
    try:
        parts = urlsplit(address)
        host, port = parts.hostname or "", parts.port
    except ValueError as error:
        raise ValueError(f"{address!r} is no web address; {_EXAMPLE}") from error
    if parts.scheme not in ("http", "https") or not host or port == 0 or not _is_plain(address):
        raise ValueError(f"{address!r} is no web address; {_EXAMPLE}")
    if parts.username is not None or parts.path not in ("", "/") or parts.query or parts.fragment:
        raise ValueError(f"{address!r} should end with the name or the port of the machine; {_EXAMPLE}")
    if _is_this_machine(host):
        raise ValueError(f"{address!r} is this machine alone, where a phone reaches nothing; {_EXAMPLE}")
    return address.rstrip("/")


def _is_plain(address: str) -> bool:
    return address.isascii() and address.isprintable() and " " not in address


def _is_this_machine(host: str) -> bool:
    try:
        number = ip_address(host)
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")
    return number.is_loopback or number.is_unspecified
