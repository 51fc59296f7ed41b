"""Findings shown to a person: terminal, annotated picture, HTML, PDF, JSON."""

from snapcheck.report._fragment import findings_html, picture_html, questions_html, table_html
from snapcheck.report._hints import Hint, hint
from snapcheck.report._html import report_html
from snapcheck.report._json import report_json, report_schema
from snapcheck.report._look import INK, cautions
from snapcheck.report._nets import net_colours
from snapcheck.report._pdf import html_to_pdf
from snapcheck.report._picture import Window, annotate, detail_svg, draw_ahead, drawing_svg, window_of
from snapcheck.report._pieces import Pieces, pieces, told_of
from snapcheck.report._plots import Behaviour, behaviour, plots_beside
from snapcheck.report._probes import probes_drawing, probes_on_photo
from snapcheck.report._schematic import schematic_svg
from snapcheck.report._style import foot_css, pages, style
from snapcheck.report._tables import figure_rows
from snapcheck.report._terminal import print_result
from snapcheck.report._write import REPORT_NAMES, ReportFiles, picture_of_result, write_report

__all__ = [
    "INK",
    "REPORT_NAMES",
    "Behaviour",
    "Hint",
    "Pieces",
    "ReportFiles",
    "Window",
    "annotate",
    "behaviour",
    "cautions",
    "detail_svg",
    "draw_ahead",
    "drawing_svg",
    "figure_rows",
    "findings_html",
    "foot_css",
    "hint",
    "html_to_pdf",
    "net_colours",
    "pages",
    "picture_html",
    "picture_of_result",
    "pieces",
    "plots_beside",
    "print_result",
    "probes_drawing",
    "probes_on_photo",
    "questions_html",
    "report_html",
    "report_json",
    "report_schema",
    "schematic_svg",
    "style",
    "table_html",
    "told_of",
    "window_of",
    "write_report",
]
