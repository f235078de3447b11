"""The one password of the demonstration, apart from the story so that the sign-in page need not load it."""

PASSWORD = "demonstration only"
"""Everybody's password in the demonstration; the sign-in page says so, in demonstration mode only."""
