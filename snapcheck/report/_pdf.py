"""The same page as PDF, by WeasyPrint."""

from __future__ import annotations

from snapcheck.errors import MissingLibraryError
from snapcheck.words import tr


def html_to_pdf(page: str) -> bytes:
    """A4 pages of a report made by `report_html`.

    Raises:
        MissingLibraryError: WeasyPrint or the Pango library is not installed.
    """
    try:
        import logging

        logging.getLogger("weasyprint").setLevel(logging.CRITICAL)
        logging.getLogger("fontTools").setLevel(logging.CRITICAL)
        from weasyprint import HTML
        from weasyprint.urls import URLFetcher
    except (ImportError, OSError):
        raise MissingLibraryError(
            tr("A PDF needs WeasyPrint and the Pango library."),
            way_out=tr(
                "Run: sudo apt-get install libpango-1.0-0 libpangoft2-1.0-0, and pip install weasyprint."
            ),
        ) from None
    inside = URLFetcher(allowed_protocols={"data"})  # whatever a page names, nothing is fetched from anywhere
    return bytes(HTML(string=page, url_fetcher=inside).write_pdf())
