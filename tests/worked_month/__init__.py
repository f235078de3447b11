"""A month of a plant, played through the services, and recounted by plain Python from its raw rows."""
