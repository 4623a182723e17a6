"""The watchman, outside the house: hears gateways, notices silence, tells people until somebody acknowledges."""
