"""Reverse travel: found by the course through stops, marked by the rider, or said to be open."""
