"""What every part stands on: units, errors, tracks, estimates."""
