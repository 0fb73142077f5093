"""How much energy the wheels of a machine take over a distance."""

# What the figure is called wherever figures are looked up by name.
WHEEL_ENERGY = "wheel_energy_j_per_kg_m"
