"""Motion -> figures of the ride, each with its interval."""
