"""The checksum is the catalogue's CRC-16/IBM-3740 and no other of its family."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.wire.reference import VECTORS
from vfod.wire.crc import checksum


def bitwise(data: bytes) -> int:
    """The definition, bit by bit: polynomial 1021, initial FFFF, not reflected, nothing after."""
    register = 0xFFFF
    for byte in data:
        register ^= byte << 8
        for _ in range(8):
            register = (register << 1) ^ (0x1021 if register & 0x8000 else 0)
            register &= 0xFFFF
    return register


def test_check_value() -> None:
    """The check value of the CRC RevEng catalogue, entry CRC-16/IBM-3740, as quoted."""
    assert 0x29B1 == checksum(b"123456789")


@pytest.mark.parametrize("vector", VECTORS["checksums"], ids=lambda vector: vector["id"])
def test_published_values(vector: dict[str, str]) -> None:
    """The vectors' checksums; computed by the bitwise definition, too."""
    data = vector["bytes"].encode("latin-1")
    assert int(vector["crc"], 16) == checksum(data) == bitwise(data)


@given(st.binary(max_size=150))
def test_same_as_the_definition(data: bytes) -> None:
    """Whatever the bytes, the fast routine gives what the definition gives."""
    assert bitwise(data) == checksum(data)


@pytest.mark.parametrize("other", [0x31C3, 0x2189, 0x906E, 0x6F91, 0xD64E, 0xE5CC])
def test_not_a_relative(other: int) -> None:
    """XMODEM, KERMIT, X-25, MCRF4XX, GENIBUS and SPI-FUJITSU share the polynomial only.

    Their check values are from the same catalogue.
    """
    assert other != checksum(b"123456789")
