"""Everything that runs with snapcheck may be passed on together with it, under its GPL-3.0-or-later.

Which licences go with the GPL: the Free Software Foundation's list,
https://www.gnu.org/licenses/license-list.html. `pytest tests/packaging/test_licences.py -s` lists them.
"""

from __future__ import annotations

import re
from importlib import metadata

import pytest
from dependencies import running_dependencies

#: SPDX identifiers, small letters
KNOWN = {
    "mit", "mit-0", "mit-cmu", "0bsd", "bsd-2-clause", "bsd-3-clause", "apache-2.0", "mpl-2.0", "psf-2.0",
    "zlib", "cc0-1.0", "gpl-3.0-only", "gpl-3.0-or-later", "gpl-2.0-or-later", "lgpl-2.1-or-later",
}  # fmt: skip
#: other words for them in metadata that were written before SPDX identifiers were asked for
OTHER_WORDS = {
    "mit license": "mit",
    "bsd": "bsd-3-clause",
    "bsd license": "bsd-3-clause",
    "3-clause bsd license": "bsd-3-clause",
    "apache 2.0": "apache-2.0",
    "apache software license": "apache-2.0",
    "mozilla public license 2.0 (mpl 2.0)": "mpl-2.0",
    "python software foundation license": "psf-2.0",
    "gnu general public license v2 or later (gplv2+)": "gpl-2.0-or-later",
    "gplv3": "gpl-3.0-only",
}
#: the grant of the MIT licence (https://opensource.org/license/mit), for those that say it in full alone:
#: resvg_py's metadata name no licence; the file LICENSE in its wheel, and docs/license.md in its repository
#: (baseplate-admin/resvg-py), are this text. The Rust crates inside are listed with theirs in the wheel's
#: sboms/resvg_py.cyclonedx.json: each can be had under MIT, Apache-2.0, BSD, Zlib or Unicode-3.0.
MIT = (
    "permission is hereby granted, free of charge, to any person obtaining a copy of this software and "
    'associated documentation files (the "software"), to deal in the software without restriction'
)


def told(here: metadata.Distribution) -> list[str]:
    """What a distribution says of its licence: the expression, else classifiers, a short field, the file."""
    data = here.metadata
    if data.get("License-Expression"):  # not data[...]: a backport that is loaded makes that an error
        return [data["License-Expression"]]
    classed = [
        c.rpartition(" :: ")[2] for c in data.get_all("Classifier") or () if c.startswith("License ::")
    ]
    short = [line for line in [(data.get("License") or "").strip()] if line and len(line) < 60]
    if classed or short:
        return [*short, *classed]
    files = [f for f in here.files or () if re.fullmatch(r"(LICEN[CS]E|COPYING)(\.\w+)?", f.name)]
    texts = [re.sub(r"\s+", " ", f.read_text(encoding="utf-8")).lower() for f in files]
    return ["mit" for text in texts if MIT in text]


def goes_with_ours(expression: str) -> bool:
    """Whether one of the choices of an SPDX expression holds known licences alone."""

    def known(word: str) -> bool:
        word = word.strip().lower()
        return OTHER_WORDS.get(word, word.strip("()")) in KNOWN

    return any(all(map(known, re.split(r" AND ", choice))) for choice in re.split(r" OR ", expression))


@pytest.mark.parametrize(
    ("expression", "right"),
    [("MIT", True), ("BSD-3-Clause AND SSPL-1.0", False), ("Proprietary OR MIT", True), ("", False)],
)
def test_the_audit_can_tell(expression: str, right: bool) -> None:
    assert goes_with_ours(expression) == right


def test_every_licence_is_known_and_goes_with_ours() -> None:
    licences = {name: told(here) for name, here in sorted(running_dependencies().items())}
    assert len(licences) > 30
    for name, words in licences.items():
        print(f"{name}: {' / '.join(words)}")
    assert [name for name, words in licences.items() if not any(map(goes_with_ours, words))] == []
