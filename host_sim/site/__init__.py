"""The site file: read, checked in one go, turned into SI; the registry of faults; the choice of a packaged scenario."""
