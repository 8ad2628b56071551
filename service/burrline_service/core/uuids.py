"""Ids that sort by the time they were made at."""

from __future__ import annotations


def uuid7(unix_milliseconds: int, rand_a: int, rand_b: int) -> str:
    """Write a UUID of version 7 from its parts.

    ``48 bits of time, 0111, 12 bits, 10, 62 bits``

    Parameters
    ----------
    unix_milliseconds : int
        POSIX ms, 0 to 2^48 - 1.
    rand_a, rand_b : int
        12 and 62 random bits.

    Returns
    -------
    str
        The lower-case form of 36 characters.

    Raises
    ------
    ValueError
        A part is out of range.

    Valid
    -----
    Until the year 10889.

    Source
    ------
    RFC 9562, section 5.7; the example is that of its appendix A.6.

    Examples
    --------
    >>> uuid7(0x017F22E279B0, 0xCC3, 0x18C4DC0C0C07398F)
    '017f22e2-79b0-7cc3-98c4-dc0c0c07398f'
    """
    for part, bits in ((unix_milliseconds, 48), (rand_a, 12), (rand_b, 62)):
        if not 0 <= part < 1 << bits:
            raise ValueError(f"{part} does not fit into {bits} bits")
    value = unix_milliseconds << 80 | 7 << 76 | rand_a << 64 | 2 << 62 | rand_b
    text = f"{value:032x}"
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))
