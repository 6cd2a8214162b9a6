"""The report of a ranking, as a page and as a PDF: one content, two papers."""
