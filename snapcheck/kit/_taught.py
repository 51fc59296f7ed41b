"""What a kit's file says of photos that it was taught with; what is in it only `photo/` can tell."""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field

#: form of the data; one that a later snapcheck writes is refused
FORM = 1
_MARK = "# ---- learnt from photos by 'snapcheck teach'; not to be changed by hand ----"
_WIDTH = 120


@dataclass(frozen=True)
class Taught:
    """One artwork that a kit's cubes come in, as it was learnt from photos.

    Attributes:
        name: of the artwork; a kit may have several.
        network: digest of the network whose features were learnt from.
        data: arrays, as numpy writes them (``.npz``, nothing pickled).
    """

    name: str
    network: str
    data: bytes = field(repr=False)


def digest_of(data: bytes) -> str:
    """Sixteen hexadecimal digits that change with the data."""
    return hashlib.sha256(data).hexdigest()[:16]


def bytes_of(text: str, digest: str) -> bytes | None:
    """Data written as text; None where it is damaged."""
    try:
        data = base64.b64decode("".join(text.split()), validate=True)
    except (binascii.Error, ValueError):
        return None
    return data if digest_of(data) == digest else None


def untaught_text(text: str) -> str:
    """A kit's text without anything learnt: what its teacher wrote."""
    return text.partition(_MARK)[0].rstrip() + "\n"


def taught_text(text: str, taught: Iterable[Taught]) -> str:
    """A kit's text with what was learnt in place of what it says of that."""
    parts = [untaught_text(text)]
    for one in taught:
        coded = base64.b64encode(one.data).decode("ascii")
        lines = "\n".join(coded[i : i + _WIDTH] for i in range(0, len(coded), _WIDTH))
        name = "".join(c for c in one.name if c.isprintable() and c not in '"\\')
        parts.append(
            f'[[taught]]\nname = "{name}"\nform = {FORM}\nnetwork = "{one.network}"\n'
            f'digest = "{digest_of(one.data)}"\ndata = """\n{lines}\n"""\n'
        )
    return parts[0] if len(parts) == 1 else f"{parts[0]}\n{_MARK}\n" + "\n".join(parts[1:])
