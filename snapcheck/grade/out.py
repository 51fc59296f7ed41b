"""What leaves a course: gradebook, feedback, overview, pseudonymous copy, audit file, sheet, cards."""

from snapcheck.grade._audit import Chain, audit_events, check_audit, write_audit
from snapcheck.grade._cards import sheets_html as cards_html
from snapcheck.grade._cards import sheets_svg as cards_svg
from snapcheck.grade._feedback import Feedback, feedback_name, write_feedback
from snapcheck.grade._gradebook import gradebook_csv, reasons_text, state_of, usual_columns
from snapcheck.grade._likeness import LookAlike, look_alikes
from snapcheck.grade._overview import (
    ItemFigures,
    Mistake,
    builds_by_cell,
    item_figures,
    mistakes,
    overview_page,
)
from snapcheck.grade._pages import review_page
from snapcheck.grade._private import OUT, Forgotten, forget, pseudonym, pseudonym_key, pseudonymous_csv
from snapcheck.grade._sheet import Previewed, how_measured, preview, sample_builds, sheet_page

__all__ = [
    "OUT",
    "Chain",
    "Feedback",
    "Forgotten",
    "ItemFigures",
    "LookAlike",
    "Mistake",
    "Previewed",
    "audit_events",
    "builds_by_cell",
    "cards_html",
    "cards_svg",
    "check_audit",
    "feedback_name",
    "forget",
    "gradebook_csv",
    "how_measured",
    "item_figures",
    "look_alikes",
    "mistakes",
    "overview_page",
    "preview",
    "pseudonym",
    "pseudonym_key",
    "pseudonymous_csv",
    "reasons_text",
    "review_page",
    "sample_builds",
    "sheet_page",
    "state_of",
    "usual_columns",
    "write_audit",
    "write_feedback",
]
