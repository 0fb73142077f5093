"""Simulated rides whose truth is known: a vehicle, a receiver, and the files they write."""

from ridelog.simulate.disturbances import Settling
from ridelog.simulate.machine import Machine, Surroundings
from ridelog.simulate.receiver import Observation, Receiver
from ridelog.simulate.truth import Span, Truth
from ridelog.simulate.vehicle import RideLayout
from ridelog.simulate.write_log import Place, gpx_text, nmea_text

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
