"""Films for tests: the invented one of the fixtures, and small ones put together box by box."""

from __future__ import annotations

from config.environment import ROOT

RIDE = (ROOT / "fixtures" / "films" / "ride.webm").read_bytes()


def box(kind: bytes, content: bytes = b"") -> bytes:
    return (8 + len(content)).to_bytes(4, "big") + kind + content


def element(kind: int, content: bytes) -> bytes:
    size = len(content) | (1 << 56)  # a length written in eight bytes
    return kind.to_bytes((kind.bit_length() + 7) // 8, "big") + size.to_bytes(8, "big") + content


def mp4(*, brand: bytes = b"isom", handler: bytes = b"vide", data: bytes = b"x" * 40) -> bytes:
    """Return a film by its outer structure only; nothing in it can be played."""
    media = box(b"mdia", box(b"hdlr", b"\0" * 8 + handler + b"\0" * 12))
    return box(b"ftyp", brand + b"\0\0\2\0") + box(b"moov", box(b"trak", media)) + box(b"mdat", data)


def matroska(*, kind: bytes = b"matroska", track: int = 1) -> bytes:
    header = element(0x1A45DFA3, element(0x4282, kind))
    tracks = element(0x1654AE6B, element(0xAE, element(0x83, bytes([track]))))
    return header + element(0x18538067, tracks + element(0x1F43B675, b"\0" * 20))
