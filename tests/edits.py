"""Layouts with a few lines changed, for tests."""

from __future__ import annotations


def edited(layout: str, *lines: str) -> str:
    """The layout with lines for the same cells replaced, others added.

    ``-D1`` takes D1 away; ``-tap D3|D4`` takes that very line away.
    """
    kept = layout.strip().splitlines()
    for line in lines:
        place = line.lstrip("-").split()[0]
        several = place in ("tap", "lead")
        if line.startswith("-"):
            kept = [k for k in kept if k != line[1:] and (several or k.split()[0] != place)]
        else:
            kept = [k for k in kept if several or k.split()[0] != place]
            kept.append(line)
    return "\n".join(kept) + "\n"
