"""How much energy the wheels of a machine take over a distance."""
