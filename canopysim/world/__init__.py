"""The door from the scene to flat arrays."""
