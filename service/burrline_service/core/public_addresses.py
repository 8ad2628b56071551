"""Which addresses are of the public internet, and what an operator lets pass beside them."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_network

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network

# Every block of IANA's special-purpose registry (RFC 6890 and what updates it), globally
# reachable or not: no receiver of a webhook lives in one. Multicast (RFC 5771) beside.
REFUSED_IPV4 = tuple(
    IPv4Network(block)
    for block in (
        "0.0.0.0/8",  # this network, RFC 791
        "10.0.0.0/8",  # private use, RFC 1918
        "100.64.0.0/10",  # shared address space, RFC 6598
        "127.0.0.0/8",  # loopback, RFC 1122
        "169.254.0.0/16",  # link local, RFC 3927
        "172.16.0.0/12",  # private use, RFC 1918
        "192.0.0.0/24",  # protocol assignments, RFC 6890
        "192.0.2.0/24",  # documentation, RFC 5737
        "192.31.196.0/24",  # AS112, RFC 7535
        "192.52.193.0/24",  # AMT, RFC 7450
        "192.88.99.0/24",  # 6to4 relays, RFC 7526
        "192.168.0.0/16",  # private use, RFC 1918
        "192.175.48.0/24",  # AS112, RFC 7534
        "198.18.0.0/15",  # benchmarking, RFC 2544
        "198.51.100.0/24",  # documentation, RFC 5737
        "203.0.113.0/24",  # documentation, RFC 5737
        "224.0.0.0/4",  # multicast, RFC 5771
        "240.0.0.0/4",  # reserved, RFC 1112; limited broadcast, RFC 919
    )
)
# Global unicast is inside 2000::/3 (RFC 4291); all else is refused at once: loopback, mapped,
# NAT64, unique local, link local, site local, multicast, segment routing.
GLOBAL_IPV6 = IPv6Network("2000::/3")
REFUSED_IPV6 = tuple(
    IPv6Network(block)
    for block in (
        "2001::/23",  # protocol assignments, RFC 2928: Teredo, ORCHID and others
        "2001:db8::/32",  # documentation, RFC 3849
        "2002::/16",  # 6to4: carries an IPv4 address, RFC 3056
        "2620:4f:8000::/48",  # AS112, RFC 7534
        "3fff::/20",  # documentation, RFC 9637
    )
)


def is_public(address: Address) -> bool:
    """Whether an address is one of the public internet, by explicit blocks.

    ``public = IPv4 outside of the refused blocks, or IPv6 inside 2000::/3 outside of them``

    Parameters
    ----------
    address : IPv4Address or IPv6Address
        An address; one that maps an IPv4 address is judged as that.

    Returns
    -------
    bool
        True for public ones.

    Valid
    -----
    Every block of the registry of special purposes counts as not public, also those marked there
    as globally reachable. ``ipaddress.is_global`` is not asked: its answers change with Python.

    Source
    ------
    IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890, RFC 8190), held to every row
    of July 2026 in the tests; RFC 5771; RFC 4291, section 2.4.

    Examples
    --------
    >>> from ipaddress import ip_address
    >>> [is_public(ip_address(text)) for text in ("8.8.8.8", "10.0.0.1", "2606:4700::1")]
    [True, False, True]
    """
    if isinstance(address, IPv6Address) and address.ipv4_mapped is not None:
        address = address.ipv4_mapped
    if isinstance(address, IPv4Address):
        return not any(address in block for block in REFUSED_IPV4)
    return address in GLOBAL_IPV6 and not any(address in block for block in REFUSED_IPV6)


def exceptions_of(text: str) -> tuple[Network, ...]:
    """Read the operator's exceptions: networks that are not public, separated by commas.

    ``text = network *("," network)``, each inside one block that is not public

    Parameters
    ----------
    text : str
        Networks such as ``10.0.0.0/8``; an address alone is the network of itself.

    Returns
    -------
    tuple of networks
        In the order given.

    Raises
    ------
    ValueError
        Not a network, bits set beyond its prefix, or public addresses within.

    Valid
    -----
    IPv4 by itself, not mapped into IPv6.

    Source
    ------
    RFC 4632, section 3.1, for the notation.

    Examples
    --------
    >>> exceptions_of("10.0.0.0/8, ::1")
    (IPv4Network('10.0.0.0/8'), IPv6Network('::1/128'))
    """
    found: list[Network] = []
    for part in text.split(","):
        try:
            network = ip_network(part.strip())
        except ValueError:
            raise ValueError(f"{part.strip()!r} is not a network such as 10.0.0.0/8") from None
        if not _is_private(network):
            raise ValueError(f"{network} is not within a private range")
        found.append(network)
    return tuple(found)


def _is_private(network: Network) -> bool:
    if isinstance(network, IPv4Network):
        return any(network.subnet_of(block) for block in REFUSED_IPV4)
    if any(network.subnet_of(block) for block in REFUSED_IPV6):
        return True
    return not network.overlaps(GLOBAL_IPV6) and not network.overlaps(_MAPPED)


_MAPPED = IPv6Network("::ffff:0:0/96")
