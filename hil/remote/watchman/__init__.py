"""The watchman, outside the house: hears what gateways publish, notices silence, tells people until somebody acknowledges."""
