"""The explorer: every reachable state of each part of the core, in coarse worlds.  One file a part."""
