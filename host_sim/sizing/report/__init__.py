"""The reports of a sizing: terminal, page, JSON, drawings.  Works nothing out."""
