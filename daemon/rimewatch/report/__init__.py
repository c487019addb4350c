"""Morning summary and records: plain data first, then text and HTML."""
