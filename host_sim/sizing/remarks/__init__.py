"""Remarks: what may be wrong with a pit, why, and the cures that really cure it.  One file a subject."""
