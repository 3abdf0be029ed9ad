"""What photons meet: surfaces, leaves, plants and enclosures."""
