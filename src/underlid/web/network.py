"""Which addresses are this computer, which are the home network, and under which ones this computer is found there."""

from __future__ import annotations

import contextlib
import re
import socket
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network

#: Networks that are never routed on the internet. The last is kept for documentation; virtual machines use it.
HOME_NETWORKS: tuple[Network, ...] = tuple(
    ip_network(text)
    for text in (
        "127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "::1/128", "fc00::/7",
        "fe80::/10", "192.0.2.0/24",
    )
)  # fmt: skip
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")
EVERYWHERE = ("0.0.0.0", "::")
_ELSEWHERE = (
    "10.255.255.255",
    "172.31.255.255",
    "192.168.255.255",
    "fd00::1",
)  # asked for the way there; never sent to


def address_of(text: str | None) -> Address | None:
    """The address that a text is, or None; an IPv4 address inside an IPv6 one is that IPv4 address."""
    try:
        found = ip_address((text or "").strip("[]").partition("%")[0])
    except ValueError:
        return None
    return getattr(found, "ipv4_mapped", None) or found


def is_here(text: str | None) -> bool:
    """Whether an address is this computer talking to itself."""
    found = address_of(text)
    return found is not None and found.is_loopback


def is_home(text: str | None) -> bool:
    """Whether an address is of this computer or of a home network."""
    found = address_of(text)
    return found is not None and any(found in network for network in HOME_NETWORKS)


def in_a_link(text: str) -> str:
    """An address as links write it: IPv6 in brackets."""
    return f"[{text}]" if ":" in text else text


def home_addresses(listening: str) -> tuple[str, ...]:
    """Under which addresses others at home reach a server that listens on `listening`, the likeliest first."""
    if listening not in EVERYWHERE:
        return (listening,) if is_home(listening) and not is_here(listening) else ()
    families = (socket.AF_INET,) if listening == "0.0.0.0" else (socket.AF_INET, socket.AF_INET6)
    found: list[str] = []
    for far in _ELSEWHERE:
        family = socket.AF_INET6 if ":" in far else socket.AF_INET
        if family not in families:
            continue
        with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((far, 9))  # UDP: chooses the own address, sends nothing
            found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None) if info[0] in families]
    reachable = (text for text in found if is_home(text) and not is_here(text) and not text.startswith("fe80"))
    return tuple(dict.fromkeys(reachable))


def home_name() -> str:
    """The name under which this computer announces itself on a home network, such as `shed.local`."""
    label = re.sub(r"[^a-z0-9-]+", "-", socket.gethostname().partition(".")[0].lower()).strip("-")
    return f"{label or 'underlid'}.local"
