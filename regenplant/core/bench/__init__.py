"""The bench calculator: every quantity the engineering floor works out, under the names people type for it."""
