"""The forecast of a rinse: when it reaches its end point, with which band, and how likely it never does."""
