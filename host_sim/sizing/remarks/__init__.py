"""Remarks: what may be wrong with a pit, why, and the fixes that were tried on it.  One file per subject."""
