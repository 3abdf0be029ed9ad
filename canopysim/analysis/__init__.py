"""From counts to answers."""
