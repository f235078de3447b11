"""The demonstration story: an invented plant, played through the services, three weeks up to now."""
