"""Where photons start: lenses, strips, fixtures and daylight."""
