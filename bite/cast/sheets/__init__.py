"""A cast to be read: the page, the PDF, the table."""
