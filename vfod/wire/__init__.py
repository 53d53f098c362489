"""Bytes and lines of the line protocol (docs/protocol.md), without a socket, a clock or an await.

    crc        the checksum
    framing    bytes to lines, with bounded memory, in step again after any garbage
    grammar    one line to its parts and back
    values     the kinds of value a field can have
    messages   what can be asked, answered and told, as frozen dataclasses
    verbs      the table that joins words and messages
    timing     the times and rates both sides keep
    host       the session of the side that asks
    box        the session of the side that answers

Each uses only those above it. Feed bytes, take messages, get bytes to send.
"""
