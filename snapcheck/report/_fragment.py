"""Results as pieces of HTML for a notebook: no style sheet, no script, nothing from elsewhere."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from html import escape

from snapcheck.check import Verdict
from snapcheck.findings import Finding
from snapcheck.report._look import MARKS, numbered, severity_title, verdict_advice, verdict_tone
from snapcheck.words import shown, tr

_PASS = "#2e6b3a"


def findings_html(
    findings: Sequence[Finding], verdict: Verdict, *, advice: bool = True, notes: Iterable[str] = ()
) -> str:
    """The verdict, what to do, and every finding, worst first, with the numbers of the picture."""
    tone = verdict_tone(verdict)
    colour = _PASS if tone is None else MARKS[tone].colour
    parts = [f'<p style="color:{colour};font-size:1.3em;font-weight:bold">{_text(verdict.sentence)}</p>']
    if advice:
        parts.append(f"<p>{_text(verdict_advice(verdict))}</p>")
    parts.append('<ol style="padding-left:1.5em">')
    for _, finding in numbered(findings):
        colour, kind = MARKS[finding.severity].colour, severity_title(finding.severity)
        head = f'<b style="color:{colour}">{_text(kind)}:</b>'
        told = (finding.effect, finding.why, finding.mend)
        more = "".join(f"<br>{_text(words)}" for words in told if words)
        parts.append(f"<li>{head} {_text(finding.title)}{more}</li>")
    parts.append("</ol>")
    parts += [f"<p>{_text(note)}</p>" for note in notes]
    return "".join(parts)


def picture_html(picture: bytes | str, words: str) -> str:
    """A picture (JPEG or PNG bytes, or SVG text) with its alternative text."""
    data = picture.encode() if isinstance(picture, str) else picture
    form = "svg+xml" if isinstance(picture, str) else "png" if data[:4] == b"\x89PNG" else "jpeg"
    coded = base64.b64encode(data).decode()
    return f'<img alt="{_text(words)}" style="max-width:100%" src="data:image/{form};base64,{coded}">'


def table_html(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; no text in it is taken for HTML. Without rows: nothing."""
    body = "".join(f"<tr>{''.join(f'<td>{_text(cell)}</td>' for cell in row)}</tr>" for row in rows)
    if not body:
        return ""
    return f"<table><tr>{''.join(f'<th>{_text(head)}</th>' for head in heads)}</tr>{body}</table>"


def questions_html(places: Iterable[tuple[str, str, Iterable[str]]]) -> str:
    """Open places: name, why, what it may be."""
    return table_html(
        (tr("look at"), tr("why"), tr("it may be")), ((p, why, "; ".join(may)) for p, why, may in places)
    )


def _text(words: str) -> str:
    return escape(shown(words))
