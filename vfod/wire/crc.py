"""The checksum of a line: CRC-16/IBM-3740.

Polynomial 1021, initial value FFFF, not reflected, no final exclusive-or; the check value of
`123456789` is 29B1 (CRC RevEng catalogue). The initial value is not zero so that zero bytes lost
or added in front are seen.
"""

from binascii import crc_hqx


def checksum(data: bytes) -> int:
    """CRC-16/IBM-3740 of `data`, 0 to 65535."""
    return crc_hqx(data, 0xFFFF)
