"""The daily look: one record a day, as text, as a page, as one printed sheet with small plots."""
