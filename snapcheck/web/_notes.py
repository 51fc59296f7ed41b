"""The log of what happened, as a person reads it; it is kept in the words that stand here on the left."""

from __future__ import annotations

from snapcheck.words import tr


def note_words(what: str) -> str:
    """What happened, in the language of the page; as it was kept where it is nothing that we know."""
    words = {
        "bench freed": tr("bench freed"),
        "decided": tr("decided"),
        "design brought back": tr("design brought back"),
        "design put away": tr("design put away"),
        "design saved": tr("design saved"),
        "desk entered": tr("desk entered"),
        "fault finding on phones": tr("fault finding on phones"),
        "graded": tr("graded"),
        "handed in": tr("handed in"),
        "hints": tr("hints"),
        "joined": tr("joined"),
        "lesson closed": tr("lesson closed"),
        "let through": tr("let through"),
        "new class code": tr("new class code"),
        "not handed in": tr("not handed in"),
        "photo": tr("photo"),
        "photos deleted": tr("photos deleted"),
        "reading changed": tr("reading changed"),
        "taken up again": tr("taken up again after a restart"),
        "tasks of the lesson": tr("tasks of the lesson"),
        "token made": tr("token made"),
        "token revoked": tr("token revoked"),
        "wrong class code": tr("wrong class code"),
        "wrong passphrase": tr("wrong passphrase"),
        "wrong token": tr("wrong token"),
    }
    return words.get(what, what)
