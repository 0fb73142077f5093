"""How a machine brakes, and how far it goes before it stands."""
