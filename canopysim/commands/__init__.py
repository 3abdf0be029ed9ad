"""The commands, a file each, and what they share."""
