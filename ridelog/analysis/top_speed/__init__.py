"""How fast a ride went."""
