"""Ground floor of the house: words, units, settings, errors; imports nothing above it."""
