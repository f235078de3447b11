"""Records as sentences and drawings: pure functions of frozen page data, one module per page, nothing read or written."""
