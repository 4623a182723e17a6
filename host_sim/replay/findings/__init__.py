"""What a log shows to be wrong, with evidence and confidence: floats, pumps, water."""
