"""Acts on the waste: what comes into a waste tank and what leaves it."""
