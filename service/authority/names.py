"""What the authority may vouch for: names and addresses that only a network at home, or this computer, can have."""

from __future__ import annotations

import ipaddress
import re
import socket

from cryptography import x509

# localhost: RFC 6761; local: RFC 6762; home.arpa: RFC 8375; internal: reserved for private use by ICANN's board in 2024
# (from memory).
NAMES = ("localhost", "local", "home.arpa", "internal")
NETWORKS = tuple(
    ipaddress.ip_network(network)
    for network in (
        "127.0.0.0/8",  # RFC 1122, section 3.2.1.3
        "10.0.0.0/8",  # RFC 1918, with the next two
        "172.16.0.0/12",
        "192.168.0.0/16",
        "169.254.0.0/16",  # RFC 3927
        "::1/128",  # RFC 4291, with fe80
        "fe80::/10",
        "fc00::/7",  # RFC 4193
    )
)
_LABEL = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)")  # RFC 1123, section 2.1


def may_name(name: str) -> bool:
    """Whether the authority may vouch for this host name or address."""
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        labels = name.lower().split(".")
        return all(map(_LABEL.fullmatch, labels)) and any(
            name.lower() == known or name.lower().endswith(f".{known}") for known in NAMES
        )
    return any(address in network for network in NETWORKS)


def own_name() -> str | None:
    """This computer's name in its network by multicast DNS (RFC 6762), or None where its name is no host name."""
    label = socket.gethostname().partition(".")[0].lower()
    if _LABEL.fullmatch(label) is None:
        return None
    return label if label == "localhost" else f"{label}.local"


def general_names(names: frozenset[str]) -> list[x509.GeneralName]:
    """Those that the authority may vouch for, as a certificate's names, in a fixed order."""
    out: list[x509.GeneralName] = []
    for name in sorted(filter(may_name, names)):
        try:
            out.append(x509.IPAddress(ipaddress.ip_address(name)))
        except ValueError:
            out.append(x509.DNSName(name.lower()))
    return out


def constraints() -> x509.NameConstraints:
    """The same bounds as the authority's own certificate says them (RFC 5280, section 4.2.1.10)."""
    allowed: list[x509.GeneralName] = [x509.DNSName(name) for name in NAMES]
    return x509.NameConstraints([*allowed, *map(x509.IPAddress, NETWORKS)], None)


def lan_address() -> str:
    """This machine's address towards its network. Nothing is sent: a datagram socket only chooses a route."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): an address that belongs to nobody
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
