"""The set-up file of the invented machine before its change: what its workshop could know."""

SETUP_FILE = "bramblehop-before.toml"
SETUP_TEXT = """\
# Bramblehop 4 as it was in the "before" rides. Invented, like everything in this folder.
# This is what the workshop could know without riding; the rest is left out on purpose.
name = "Bramblehop 4"
state = "before: 11 teeth in front"
machine_mass_kg = 66
rider_mass_kg = 38
tyre_circumference_m = 1.04
wheelbase_m = 0.84
track_width_m = 0.66
cg_height_m = 0.52
front_teeth = 11
rear_teeth = 60
battery_cells = 13
battery_chemistry = "li-ion"
battery_capacity_ah = 20
fuse_a = 60
fuse_v = 58
has_reverse = true
brakes = "two independent"
class_speed_kmh = 24
reverse_limit_kmh = 6
"""
