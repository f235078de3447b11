"""Listings: the columns and the exports that every table shares, and one module of tables per area."""
