"""Sound machines of all kinds pass `setup check` silently; above 60 V DC it warns of shock.

Invented, but as such machines are built: packs of so many cells, their usual chargers and
cut-offs, wires and fuses as their makers choose them (common practice, no source).
"""

from pathlib import Path
from typing import Any

import pytest

from ridelog.__main__ import main
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_file import setup_text

SOUND: dict[str, dict[str, Any]] = {
    "folding scooter, 36 V hub": {
        "machine_mass_kg": 12.5, "rider_mass_kg": 78.0, "wheels": 2, "tyre_diameter_m": 0.216,
        "gearbox_ratio": 1.0, "motor_rated_power_w": 350.0, "motor_rated_v": 36.0,
        "battery_nominal_v": 36.0, "battery_capacity_ah": 7.8, "battery_limit_a": 17.0,
        "controller_cutoff_v": 31.0, "charger_v": 42.0, "charger_a": 2.0,
        "brakes": "two independent", "class_speed_kmh": 20.0,
    },
    "scooter, 36 V, full sheet": {
        "machine_mass_kg": 16.0, "rider_mass_kg": 80.0, "wheels": 2, "wheelbase_m": 0.93,
        "tyre_circumference_m": 0.78, "gearbox_ratio": 1.0, "motor_rpm_per_v": 17.0,
        "motor_limit_a": 35.0, "motor_max_v": 50.0, "battery_limit_a": 18.0,
        "controller_max_v": 50.0, "controller_cutoff_v": 30.0, "battery_cells": 10,
        "battery_chemistry": "li-ion", "battery_capacity_ah": 12.8, "battery_max_a": 40.0,
        "battery_continuous_a": 10.0, "fuse_a": 25.0, "fuse_v": 58.0, "switch_max_v": 60.0,
        "connector_max_v": 500.0, "connector_max_a": 30.0, "wire_mm2": 4.0, "wire_length_m": 0.6,
        "display_max_v": 60.0, "lights_min_v": 24.0, "lights_max_v": 60.0, "lights_w": 6.0,
        "horn_min_v": 12.0, "horn_max_v": 60.0, "horn_w": 3.0, "charger_v": 42.0, "charger_a": 2.0,
        "brakes": "two independent", "class_speed_kmh": 20.0,
    },
    "seated scooter, 48 V lead-acid": {
        "machine_mass_kg": 58.0, "rider_mass_kg": 85.0, "wheels": 2, "tyre_diameter_m": 0.4,
        "front_teeth": 13, "rear_teeth": 44, "motor_rated_v": 48.0, "motor_rated_power_w": 1000.0,
        "battery_cells": 24, "battery_chemistry": "lead-acid", "battery_nominal_v": 48.0,
        "battery_capacity_ah": 12.0, "battery_limit_a": 35.0, "controller_cutoff_v": 42.0,
        "fuse_a": 40.0, "fuse_v": 125.0, "charger_v": 58.8, "charger_a": 1.8,
        "brakes": "two independent",
    },
    "mini moto, 48 V, sparse": {
        "machine_mass_kg": 34.0, "rider_mass_kg": 45.0, "front_teeth": 11, "rear_teeth": 54,
        "tyre_circumference_m": 0.95, "battery_nominal_v": 48.0, "motor_rated_power_w": 1200.0,
    },
    "mini moto, 48 V, full": {
        "machine_mass_kg": 36.0, "rider_mass_kg": 50.0, "wheels": 2, "wheelbase_m": 0.92,
        "cg_height_m": 0.58, "tyre_circumference_m": 1.02, "front_teeth": 12, "rear_teeth": 60,
        "motor_rpm_per_v": 62.0, "motor_rated_v": 48.0, "motor_rated_power_w": 1600.0,
        "motor_max_v": 60.0, "motor_limit_a": 90.0, "battery_limit_a": 35.0,
        "controller_max_v": 63.0, "controller_cutoff_v": 39.0, "battery_cells": 13,
        "battery_chemistry": "li-ion", "battery_nominal_v": 48.0, "battery_full_v": 54.6,
        "battery_capacity_ah": 20.0, "battery_resistance_ohm": 0.1, "battery_mass_kg": 7.5,
        "battery_height_m": 0.4, "battery_continuous_a": 20.0, "battery_max_a": 60.0,
        "fuse_a": 50.0, "fuse_v": 80.0, "switch_max_v": 72.0, "connector_max_v": 600.0,
        "connector_max_a": 60.0, "wire_mm2": 10.0, "wire_length_m": 0.5, "display_max_v": 72.0,
        "converter_min_v": 30.0, "converter_max_v": 72.0, "converter_out_v": 12.0,
        "converter_w": 120.0, "lights_min_v": 9.0, "lights_max_v": 16.0, "lights_w": 30.0,
        "horn_min_v": 10.0, "horn_max_v": 14.0, "horn_w": 25.0, "accessories_w": 10.0,
        "charger_v": 54.6, "charger_a": 4.0, "has_reverse": False, "brakes": "two independent",
        "class_speed_kmh": 45.0,
    },
    "child's off-road bike, 36 V": {
        "machine_mass_kg": 22.0, "rider_mass_kg": 30.0, "wheels": 2, "wheelbase_m": 0.88,
        "cg_height_m": 0.55, "tyre_diameter_m": 0.41, "front_teeth": 9, "rear_teeth": 48,
        "battery_nominal_v": 36.0, "battery_chemistry": "li-ion", "battery_capacity_ah": 6.0,
        "battery_limit_a": 22.0, "adult_rider": False, "class_speed_kmh": 25.0,
        "brakes": "two independent", "surface": "grass",
    },
    "kart, 72 V lead-acid": {
        "machine_mass_kg": 145.0, "rider_mass_kg": 75.0, "wheels": 4, "wheelbase_m": 1.05,
        "track_width_m": 1.1, "cg_height_m": 0.26, "tyre_diameter_m": 0.279, "front_teeth": 17,
        "rear_teeth": 60, "motor_rpm_per_v": 71.0, "motor_limit_a": 300.0, "battery_limit_a": 150.0,
        "controller_max_v": 96.0, "controller_cutoff_v": 60.0, "battery_cells": 36,
        "battery_chemistry": "lead-acid", "battery_nominal_v": 72.0, "battery_capacity_ah": 50.0,
        "battery_max_a": 250.0, "fuse_a": 200.0, "fuse_v": 125.0, "wire_mm2": 70.0,
        "charger_v": 88.2, "charger_a": 8.0, "brakes": "one", "class_speed_kmh": 60.0,
    },
    "hire kart, 48 V LiFePO4": {
        "machine_mass_kg": 160.0, "rider_mass_kg": 80.0, "wheels": 4, "wheelbase_m": 1.1,
        "track_width_m": 1.15, "cg_height_m": 0.27, "tyre_circumference_m": 0.86,
        "gearbox_ratio": 4.2, "motor_limit_a": 250.0, "battery_limit_a": 120.0,
        "controller_cutoff_v": 42.0, "battery_cells": 16, "battery_chemistry": "lifepo4",
        "battery_nominal_v": 51.2, "battery_full_v": 58.4, "battery_capacity_ah": 60.0,
        "charger_v": 58.4, "charger_a": 20.0, "has_reverse": True, "reverse_limit_kmh": 6.0,
        "brakes": "one", "class_speed_kmh": 45.0,
    },
    "racing kart, 72 V": {
        "machine_mass_kg": 98.0, "rider_mass_kg": 72.0, "wheels": 4, "tyre_diameter_m": 0.28,
        "front_teeth": 19, "rear_teeth": 62, "battery_cells": 20, "battery_chemistry": "li-ion",
        "battery_capacity_ah": 24.0, "battery_limit_a": 200.0, "battery_max_a": 300.0,
        "motor_limit_a": 400.0, "controller_max_v": 90.0, "controller_cutoff_v": 62.0,
    },
    "delta three-wheeler for errands, 48 V": {
        "machine_mass_kg": 90.0, "rider_mass_kg": 70.0, "load_mass_kg": 15.0, "wheels": 3,
        "wheelbase_m": 1.25, "track_width_m": 0.72, "paired_axle_share": 0.68, "cg_height_m": 0.52,
        "tyre_diameter_m": 0.41, "gearbox_ratio": 8.5, "battery_cells": 24,
        "battery_chemistry": "lead-acid", "battery_capacity_ah": 32.0, "battery_limit_a": 40.0,
        "controller_cutoff_v": 42.0, "charger_v": 58.8, "charger_a": 5.0, "has_reverse": True,
        "reverse_limit_kmh": 5.0, "class_speed_kmh": 15.0, "brakes": "two independent",
    },
    "tadpole recumbent, 36 V": {
        "machine_mass_kg": 28.0, "rider_mass_kg": 82.0, "wheels": 3, "wheelbase_m": 1.02,
        "track_width_m": 0.78, "paired_axle_share": 0.65, "cg_height_m": 0.4,
        "tyre_circumference_m": 2.08, "gearbox_ratio": 1.0, "motor_rated_power_w": 250.0,
        "battery_cells": 10, "battery_chemistry": "li-ion", "battery_capacity_ah": 14.0,
        "battery_limit_a": 15.0, "controller_cutoff_v": 31.0, "brakes": "two independent",
        "class_speed_kmh": 25.0,
    },
    "cargo tricycle, 36 V": {
        "machine_mass_kg": 45.0, "rider_mass_kg": 75.0, "load_mass_kg": 60.0, "wheels": 3,
        "tyre_circumference_m": 2.07, "gearbox_ratio": 1.0, "battery_nominal_v": 36.0,
        "battery_full_v": 42.0, "battery_capacity_ah": 17.5, "battery_limit_a": 20.0,
    },
    "touring bicycle with 28-inch hub motor": {
        "machine_mass_kg": 24.0, "rider_mass_kg": 80.0, "wheels": 2, "tyre_circumference_m": 2.22,
        "gearbox_ratio": 1.0, "battery_nominal_v": 36.0, "battery_capacity_ah": 13.0,
        "battery_limit_a": 15.0, "brakes": "two independent", "class_speed_kmh": 25.0,
    },
    "youth quad, 36 V lead-acid": {
        "machine_mass_kg": 62.0, "rider_mass_kg": 38.0, "wheels": 4, "wheelbase_m": 0.78,
        "track_width_m": 0.58, "cg_height_m": 0.48, "tyre_diameter_m": 0.33, "front_teeth": 10,
        "rear_teeth": 36, "motor_rated_v": 36.0, "motor_rated_power_w": 800.0, "battery_cells": 18,
        "battery_chemistry": "lead-acid", "battery_nominal_v": 36.0, "battery_capacity_ah": 12.0,
        "battery_limit_a": 40.0, "controller_cutoff_v": 31.5, "fuse_a": 50.0, "charger_v": 44.1,
        "charger_a": 2.0, "has_reverse": True, "reverse_limit_kmh": 6.0, "adult_rider": False,
        "class_speed_kmh": 20.0, "brakes": "two independent",
    },
    "youth quad, 48 V lithium, full sheet": {
        "machine_mass_kg": 55.0, "rider_mass_kg": 42.0, "wheels": 4, "wheelbase_m": 0.8,
        "track_width_m": 0.62, "cg_height_m": 0.5, "tyre_circumference_m": 1.05, "front_teeth": 10,
        "rear_teeth": 37, "motor_rpm_per_v": 58.0, "motor_max_v": 60.0, "motor_limit_a": 80.0,
        "battery_limit_a": 30.0, "controller_max_v": 60.0, "controller_cutoff_v": 40.0,
        "battery_cells": 13, "battery_chemistry": "li-ion", "battery_capacity_ah": 15.0,
        "battery_continuous_a": 14.0, "battery_max_a": 45.0, "fuse_a": 40.0, "fuse_v": 58.0,
        "switch_max_v": 60.0, "connector_max_v": 600.0, "connector_max_a": 45.0, "wire_mm2": 6.0,
        "wire_length_m": 0.8, "display_max_v": 60.0, "converter_min_v": 36.0,
        "converter_max_v": 75.0, "converter_out_v": 12.0, "converter_w": 60.0, "lights_min_v": 9.0,
        "lights_max_v": 30.0, "lights_w": 20.0, "horn_min_v": 9.0, "horn_max_v": 15.0,
        "horn_w": 15.0, "accessories_w": 5.0, "charger_v": 54.6, "charger_a": 3.0,
        "has_reverse": True, "reverse_limit_kmh": 5.0, "brakes": "two independent",
        "class_speed_kmh": 25.0,
    },
    "utility quad, 60 V": {
        "machine_mass_kg": 180.0, "rider_mass_kg": 85.0, "wheels": 4, "wheelbase_m": 1.15,
        "track_width_m": 0.9, "cg_height_m": 0.6, "tyre_diameter_m": 0.46, "gearbox_ratio": 9.0,
        "battery_nominal_v": 60.0, "battery_chemistry": "lead-acid", "battery_capacity_ah": 32.0,
        "battery_limit_a": 70.0, "controller_cutoff_v": 52.0, "charger_v": 73.5, "charger_a": 5.0,
        "brakes": "two independent",
    },
    "mobility scooter, 24 V": {
        "machine_mass_kg": 72.0, "rider_mass_kg": 85.0, "wheels": 4, "wheelbase_m": 0.86,
        "track_width_m": 0.52, "cg_height_m": 0.55, "tyre_diameter_m": 0.23, "gearbox_ratio": 18.0,
        "battery_cells": 12, "battery_chemistry": "lead-acid", "battery_nominal_v": 24.0,
        "battery_capacity_ah": 36.0, "battery_limit_a": 40.0, "controller_cutoff_v": 21.0,
        "charger_v": 29.4, "charger_a": 5.0, "has_reverse": True, "reverse_limit_kmh": 3.0,
        "class_speed_kmh": 8.0, "brakes": "one",
    },
    "garden tractor, 48 V blocks": {
        "machine_mass_kg": 210.0, "rider_mass_kg": 80.0, "wheels": 4, "tyre_diameter_m": 0.5,
        "gearbox_ratio": 24.0, "battery_nominal_v": 48.0, "battery_chemistry": "lead-acid",
        "battery_capacity_ah": 75.0, "surface": "grass", "class_speed_kmh": 8.0,
        "has_reverse": True,
    },
    "light motorcycle, 60 V": {
        "machine_mass_kg": 75.0, "rider_mass_kg": 78.0, "wheels": 2, "wheelbase_m": 1.26,
        "cg_height_m": 0.72, "tyre_circumference_m": 1.95, "front_teeth": 13, "rear_teeth": 48,
        "second_front_teeth": 18, "second_rear_teeth": 46, "motor_rpm_per_v": 75.0,
        "battery_cells": 16, "battery_chemistry": "li-ion", "battery_capacity_ah": 32.0,
        "battery_limit_a": 100.0, "motor_limit_a": 260.0, "controller_max_v": 84.0,
        "controller_cutoff_v": 48.0, "brakes": "two independent", "class_speed_kmh": 45.0,
    },
    "trail bike, 52 V, 14 cells": {
        "machine_mass_kg": 47.0, "rider_mass_kg": 75.0, "wheels": 2, "tyre_circumference_m": 1.86,
        "front_teeth": 14, "rear_teeth": 48, "gearbox_ratio": 2.4, "battery_cells": 14,
        "battery_chemistry": "li-ion", "battery_nominal_v": 52.0, "battery_full_v": 58.8,
        "battery_capacity_ah": 25.0, "battery_limit_a": 50.0, "battery_max_a": 80.0,
        "controller_max_v": 63.0, "controller_cutoff_v": 42.0, "motor_limit_a": 150.0,
        "fuse_a": 60.0, "fuse_v": 80.0, "wire_mm2": 16.0, "wire_length_m": 0.4, "charger_v": 58.8,
        "charger_a": 5.0,
    },
    "monkey-size bike, LiFePO4 15 cells": {
        "machine_mass_kg": 52.0, "rider_mass_kg": 70.0, "tyre_diameter_m": 0.43, "front_teeth": 15,
        "rear_teeth": 37, "gearbox_ratio": 2.0, "battery_cells": 15, "battery_chemistry": "lifepo4",
        "battery_nominal_v": 48.0, "battery_full_v": 54.8, "battery_capacity_ah": 30.0,
        "controller_cutoff_v": 40.0, "charger_v": 54.8, "charger_a": 5.0,
    },
    "scooter, 24 V lead-acid, old": {
        "machine_mass_kg": 21.0, "rider_mass_kg": 40.0, "tyre_diameter_m": 0.2, "front_teeth": 11,
        "rear_teeth": 55, "motor_rated_v": 24.0, "motor_rated_rpm": 2650.0,
        "motor_rated_power_w": 250.0, "battery_nominal_v": 24.0, "battery_chemistry": "lead-acid",
        "battery_capacity_ah": 7.0, "battery_limit_a": 25.0, "controller_cutoff_v": 20.5,
        "charger_v": 29.4, "charger_a": 1.5,
    },
    "big scooter, two hubs, 60 V": {
        "machine_mass_kg": 36.0, "rider_mass_kg": 85.0, "wheels": 2, "tyre_circumference_m": 0.88,
        "gearbox_ratio": 1.0, "battery_nominal_v": 60.0, "battery_chemistry": "li-ion",
        "battery_capacity_ah": 25.0, "battery_limit_a": 50.0, "motor_limit_a": 110.0,
        "controller_cutoff_v": 52.0, "brakes": "two independent", "class_speed_kmh": 45.0,
    },
    "only a name": {
        "name": "Blue one", "state": "as bought",
    },
    "masses alone": {
        "machine_mass_kg": 40.0, "rider_mass_kg": 65.0,
    },
    "gearing and tyre alone": {
        "front_teeth": 14, "rear_teeth": 72, "tyre_circumference_m": 1.28,
    },
    "motor's label alone": {
        "motor_rpm_per_v": 62.0, "motor_rated_v": 48.0, "motor_rated_rpm": 2700.0,
        "motor_rated_power_w": 1500.0, "motor_resistance_ohm": 0.06, "battery_nominal_v": 48.0,
    },
    "pack alone, 43.2 V": {
        "battery_nominal_v": 43.2, "battery_capacity_ah": 10.0, "charger_v": 50.4, "charger_a": 2.0,
    },
    "pack alone, 25.6 V": {
        "battery_nominal_v": 25.6, "battery_chemistry": "lifepo4", "battery_full_v": 29.2,
        "battery_capacity_ah": 20.0, "charger_v": 29.2, "charger_a": 6.0,
    },
    "two-stage reduction with belt": {
        "machine_mass_kg": 30.0, "rider_mass_kg": 60.0, "front_teeth": 14, "rear_teeth": 52,
        "second_front_teeth": 11, "second_rear_teeth": 30, "tyre_diameter_m": 0.32,
        "battery_cells": 12, "battery_chemistry": "li-ion", "battery_capacity_ah": 10.4,
        "battery_limit_a": 25.0, "controller_cutoff_v": 36.0, "wire_mm2": 5.26,
        "wire_length_m": 0.4, "fuse_a": 30.0, "fuse_v": 60.0, "connector_max_a": 30.0,
    },
    "tandem-axle buggy, 72 V lithium": {
        "machine_mass_kg": 260.0, "rider_mass_kg": 160.0, "load_mass_kg": 40.0, "wheels": 4,
        "wheelbase_m": 1.65, "track_width_m": 1.15, "cg_height_m": 0.55, "tyre_diameter_m": 0.56,
        "gearbox_ratio": 10.2, "battery_cells": 20, "battery_chemistry": "li-ion",
        "battery_nominal_v": 72.0, "battery_full_v": 84.0, "battery_capacity_ah": 60.0,
        "battery_limit_a": 180.0, "battery_max_a": 220.0, "battery_continuous_a": 100.0,
        "fuse_a": 200.0, "fuse_v": 150.0, "controller_max_v": 96.0, "controller_cutoff_v": 60.0,
        "wire_mm2": 70.0, "wire_length_m": 1.2, "charger_v": 84.0, "charger_a": 15.0,
        "has_reverse": True, "reverse_limit_kmh": 10.0, "brakes": "two independent",
        "class_speed_kmh": 45.0,
    },
    "seated scooter, 52 V, cutoff of a 48 V controller": {
        "machine_mass_kg": 41.0, "rider_mass_kg": 90.0, "wheels": 2, "wheelbase_m": 1.05,
        "cg_height_m": 0.68, "tyre_diameter_m": 0.35, "gearbox_ratio": 1.0, "motor_rated_v": 48.0,
        "motor_rated_power_w": 1500.0, "motor_limit_a": 100.0, "battery_limit_a": 40.0,
        "controller_max_v": 60.0, "controller_cutoff_v": 40.0, "battery_cells": 14,
        "battery_chemistry": "li-ion", "battery_capacity_ah": 30.0, "battery_continuous_a": 25.0,
        "battery_max_a": 60.0, "fuse_a": 50.0, "fuse_v": 80.0, "wire_mm2": 8.37,
        "wire_length_m": 0.7, "connector_max_v": 500.0, "connector_max_a": 60.0, "charger_v": 58.8,
        "charger_a": 5.0,
    },
    "beach trike, 48 V hub": {
        "machine_mass_kg": 48.0, "rider_mass_kg": 88.0, "wheels": 3, "wheelbase_m": 1.3,
        "track_width_m": 0.8, "paired_axle_share": 0.7, "cg_height_m": 0.55,
        "tyre_circumference_m": 1.62, "gearbox_ratio": 5.0, "battery_nominal_v": 48.0,
        "battery_full_v": 54.6, "battery_capacity_ah": 17.5, "battery_limit_a": 25.0,
        "controller_cutoff_v": 39.0, "surface": "grass", "brakes": "two independent",
        "class_speed_kmh": 25.0,
    },
    "balance bike, 20 V tool pack": {
        "machine_mass_kg": 9.0, "rider_mass_kg": 18.0, "wheels": 2, "tyre_diameter_m": 0.305,
        "gearbox_ratio": 1.0, "battery_cells": 5, "battery_chemistry": "li-ion",
        "battery_nominal_v": 18.0, "battery_full_v": 21.0, "battery_capacity_ah": 4.0,
        "battery_limit_a": 15.0, "battery_max_a": 20.0, "fuse_a": 20.0, "fuse_v": 32.0,
        "charger_v": 21.0, "charger_a": 2.0, "adult_rider": False, "class_speed_kmh": 14.0,
        "brakes": "one",
    },
    "child's car, 24 V": {
        "machine_mass_kg": 26.0, "rider_mass_kg": 22.0, "wheels": 4, "wheelbase_m": 0.68,
        "track_width_m": 0.55, "cg_height_m": 0.36, "tyre_diameter_m": 0.3, "gearbox_ratio": 70.0,
        "battery_nominal_v": 24.0, "battery_chemistry": "lead-acid", "battery_capacity_ah": 9.0,
        "charger_v": 29.0, "charger_a": 1.0, "has_reverse": True, "reverse_limit_kmh": 3.0,
        "class_speed_kmh": 8.0, "adult_rider": False,
    },
    "drift trike, 48 V LiFePO4": {
        "machine_mass_kg": 42.0, "rider_mass_kg": 75.0, "wheels": 3, "wheelbase_m": 1.15,
        "track_width_m": 0.75, "paired_axle_share": 0.72, "cg_height_m": 0.38,
        "tyre_circumference_m": 0.86, "front_teeth": 15, "rear_teeth": 45, "motor_limit_a": 140.0,
        "battery_limit_a": 60.0, "controller_cutoff_v": 42.0, "battery_cells": 16,
        "battery_chemistry": "lifepo4", "battery_nominal_v": 48.0, "battery_capacity_ah": 20.0,
        "battery_max_a": 100.0, "fuse_a": 80.0, "fuse_v": 80.0, "wire_mm2": 16.0,
        "wire_length_m": 0.5, "charger_v": 58.4, "charger_a": 10.0, "brakes": "one",
    },
    "delivery moped, 48 V blocks with lamps on 12 V": {
        "machine_mass_kg": 96.0, "rider_mass_kg": 78.0, "load_mass_kg": 30.0, "wheels": 2,
        "wheelbase_m": 1.28, "cg_height_m": 0.66, "tyre_diameter_m": 0.43, "gearbox_ratio": 1.0,
        "battery_cells": 24, "battery_chemistry": "lead-acid", "battery_capacity_ah": 38.0,
        "battery_limit_a": 45.0, "controller_cutoff_v": 42.0, "fuse_a": 63.0, "fuse_v": 160.0,
        "wire_mm2": 10.0, "wire_length_m": 1.1, "converter_min_v": 36.0, "converter_max_v": 72.0,
        "converter_out_v": 12.0, "converter_w": 120.0, "lights_min_v": 10.0, "lights_max_v": 15.0,
        "lights_w": 55.0, "horn_min_v": 10.0, "horn_max_v": 14.0, "horn_w": 20.0,
        "accessories_w": 10.0, "charger_v": 59.2, "charger_a": 6.0, "brakes": "two independent",
        "class_speed_kmh": 45.0,
    },
    "low quad for a workshop's yard, 36 V LiFePO4": {
        "machine_mass_kg": 120.0, "rider_mass_kg": 80.0, "wheels": 4, "wheelbase_m": 1.2,
        "track_width_m": 0.85, "cg_height_m": 0.5, "tyre_circumference_m": 1.19,
        "gearbox_ratio": 12.0, "battery_cells": 12, "battery_chemistry": "lifepo4",
        "battery_nominal_v": 38.4, "battery_full_v": 43.8, "battery_capacity_ah": 100.0,
        "battery_limit_a": 120.0, "controller_cutoff_v": 32.0, "charger_v": 43.8, "charger_a": 20.0,
        "surface": "gravel",
    },
}  # fmt: skip
SHOCK = "above 60 V DC it can kill by shock"


@pytest.mark.parametrize("name", SOUND)
def test_sound_machines_pass(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "machine.toml"
    path.write_text(setup_text(MachineSetup(**SOUND[name])), encoding="utf-8")
    with pytest.raises(SystemExit) as caught:
        main(["setup", "check", str(path)])
    seen = capsys.readouterr()
    assert not caught.value.code, seen.out
    told = " ".join(seen.err.split())
    high = any(word in name for word in ("60 V", "72 V"))
    assert told.count("Danger:") == high and (SHOCK in told) == high
    assert high or not told


def test_thirty_and_more_are_silent() -> None:
    assert sum("60 V" not in name and "72 V" not in name for name in SOUND) > 30
