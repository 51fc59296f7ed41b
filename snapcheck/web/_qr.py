"""The way to the bench page as a QR code (ISO/IEC 18004), for a screen and for a terminal."""

from __future__ import annotations

import io


def qr_svg(address: str) -> str:
    """As a picture, dark on white."""
    import segno

    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(
        out, kind="svg", scale=8, border=4, dark="#10243a", light="#fff", xmldecl=False, title=address
    )
    return out.getvalue().decode()


def qr_lines(address: str) -> list[str]:
    """As lines of half blocks for a terminal, light on dark or dark on light: both can be read."""
    import segno

    rows = [list(row) for row in segno.make(address, error="l", micro=False).matrix_iter(border=2)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    signs = {(0, 0): "█", (0, 1): "▀", (1, 0): "▄", (1, 1): " "}
    return [
        "".join(signs[bool(a), bool(b)] for a, b in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    ]
