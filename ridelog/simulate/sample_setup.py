"""The set-up file of the invented machine before its change: what its workshop could know."""

SETUP_FILE = "thistledrake-before.toml"
SETUP_TEXT = """\
# Thistledrake 2 as it was in the "before" rides. Invented, like everything in this folder.
# This is what the workshop could know without riding; the rest is left out on purpose.
name = "Thistledrake 2"
state = "before: 64 teeth behind"
machine_mass_kg = 92
rider_mass_kg = 81
tyre_circumference_m = 0.86
wheelbase_m = 1.05
track_width_m = 1.02
cg_height_m = 0.30
front_teeth = 15
rear_teeth = 64
battery_cells = 14
battery_chemistry = "li-ion"
battery_capacity_ah = 40
fuse_a = 100
fuse_v = 80
has_reverse = true
brakes = "two independent"
class_speed_kmh = 50
reverse_limit_kmh = 6
"""
