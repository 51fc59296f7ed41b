"""Findings shown to a person: terminal, annotated picture, HTML, PDF, JSON."""

from snapcheck.report._fragment import findings_html, picture_html, questions_html, table_html
from snapcheck.report._hints import Hint, hint
from snapcheck.report._html import report_html
from snapcheck.report._json import report_json, report_schema
from snapcheck.report._pdf import html_to_pdf
from snapcheck.report._picture import annotate, draw_ahead
from snapcheck.report._pieces import Pieces, pieces
from snapcheck.report._plots import Behaviour, behaviour, plots_beside
from snapcheck.report._style import foot_css, pages, style
from snapcheck.report._tables import figure_rows
from snapcheck.report._terminal import print_result
from snapcheck.report._write import REPORT_NAMES, ReportFiles, picture_of_result, write_report

__all__ = [
    "REPORT_NAMES",
    "Behaviour",
    "Hint",
    "Pieces",
    "ReportFiles",
    "annotate",
    "behaviour",
    "draw_ahead",
    "figure_rows",
    "findings_html",
    "foot_css",
    "hint",
    "html_to_pdf",
    "pages",
    "picture_html",
    "picture_of_result",
    "pieces",
    "plots_beside",
    "print_result",
    "questions_html",
    "report_html",
    "report_json",
    "report_schema",
    "style",
    "table_html",
    "write_report",
]
