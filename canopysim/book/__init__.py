"""The verification book: cases whose answers are known, traced on the user's own machine."""
