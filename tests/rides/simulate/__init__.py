"""Simulated rides whose truth is known: a vehicle, a receiver, and the files they write."""

from simulate.disturbances import Settling
from simulate.machine import Machine, Surroundings
from simulate.receiver import Observation, Receiver
from simulate.truth import Span, Truth
from simulate.vehicle import RideLayout
from simulate.write_log import Place, gpx_text, nmea_text

__all__ = [
    "Machine",
    "Observation",
    "Place",
    "Receiver",
    "RideLayout",
    "Settling",
    "Span",
    "Surroundings",
    "Truth",
    "gpx_text",
    "nmea_text",
]
