"""Kits: one board under test with its harness, of every kind.  They know no procedure."""
