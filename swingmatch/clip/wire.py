"""Messages between the reader and the process that decodes: a JSON header and a block of bytes.

JSON and not pickle, because the other side has worked on a stranger's file: what it sends may be wrong but
must never be run.
"""

from __future__ import annotations

import json
import struct
from typing import Any, BinaryIO

#: Header of a message, and bytes that go with it.
Message = tuple[dict[str, Any], bytes]
_LENGTHS = struct.Struct("<II")


def send(stream: BinaryIO, header: dict[str, Any], block: bytes = b"") -> None:
    """Write one message and flush it."""
    head = json.dumps(header).encode("ascii")
    stream.write(_LENGTHS.pack(len(head), len(block)) + head + block)
    stream.flush()


def receive(stream: BinaryIO) -> Message | None:
    """Read one message; None where the stream ends, in the middle of a message too."""
    lengths = stream.read(_LENGTHS.size)
    if len(lengths) < _LENGTHS.size:
        return None
    head_length, block_length = _LENGTHS.unpack(lengths)
    head = stream.read(head_length)
    block = stream.read(block_length)
    if len(head) < head_length or len(block) < block_length:
        return None
    return json.loads(head), block
