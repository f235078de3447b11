"""Whether stored records are still what was written: one module for each kind of thing, a list of all, one run of them."""
