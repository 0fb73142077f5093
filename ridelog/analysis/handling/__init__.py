"""How a machine handles: lateral load and radius of its turns, weave, steering corrections."""
