"""How hard a machine pulls at each speed."""
