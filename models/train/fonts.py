"""Gather the fonts that label styles are printed in, each cut down to the letters that cubes carry.

    python fonts.py /usr/share/fonts FONTS

Families whose print stands in labelled pictures or in the outside checks are left out, as are symbol, ornament and
foreign-script families. A font without an ohm or plus-minus sign is kept under a name ending in `__noohm`, and its
labels are printed without these.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont, TTLibError
from labels import CHARS

#: families of labelled pictures and of fixtures/outside: never trained on
KEPT_OUT = (
    "opensans hack inconsolata roboto comfortaa routed liberation quicksand mononoki courierprime play osifont b612 "
    "cantarell jetbrains lato dejavu comic noto charis compagnon gentium leaguemono nationalpark yanone"
).split()
READABLE = re.compile(
    r"(adf|aerial|andika|anonymous|averia|bebas|breip|cabin|caladea|carlito|clearsans|dosis|doulos|dustismo|"
    r"ecolier|fantasque|firacode|firasans|freemono|freesans|freeserif|femke|garuda|gfsneo|gillius|gwmono|"
    r"hermit|humor|inter|junction|jura|karla|kinnari|laksaman|linbio|linlib|loma|mekanus|monoid|mplus|"
    r"mtl|nanum|nimbus|norasi|ocra|ocrb|oldstandard|opendyslexic|oxygen|p052|c059|padauk|prociono|purisa|"
    r"radis|rufscript|sawasdee|staypuft|stixgeneral-|stix-|tlwg|tuffy|tymes|typoscript|umpush|universalis|urw|veran|"
    r"vollkorn|waree|ibmplex|plex|cascadia|agave|monofur|museum|goudy|essays|fanwood|isabella|kristi|"
    r"dancing|klaudia|berenika|beteckna|pecita|handlee|dkg|bwht|sjfont|delphine|steve|ubuntu|hosny|unfont|century|sniglet|rubik|barlow|work|source|crimson)",
    re.I,
)
NEEDED = set(CHARS) - set("Ω± ")


def main() -> None:
    out = Path(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
    kept = 0
    for path in sorted(p for p in Path(sys.argv[1]).rglob("*") if p.suffix in (".ttf", ".otf")):
        name = re.sub(r"[^A-Za-z0-9-]", "", path.stem)
        if any(name.lower().startswith(k) for k in KEPT_OUT) or not READABLE.search(name):
            continue
        try:
            font = TTFont(path)
            has = {chr(c) for c in font.getBestCmap() or ()}
            if not has >= NEEDED:
                continue
            options = subset.Options(layout_features=[], hinting=False, notdef_outline=True)
            cut = subset.Subsetter(options)
            cut.populate(text=CHARS + "-t°ϑθº−~?&")
            cut.subset(font)
            stem = name if has >= set("Ω±") else f"{name}__noohm"
            font.save(out / f"{stem}{path.suffix}")
            kept += 1
        except (TTLibError, KeyError, AssertionError, ValueError, TypeError) as error:
            print(f"{path.name}: left out, {error}")
    print(f"{kept} fonts")


if __name__ == "__main__":
    main()
