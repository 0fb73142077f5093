"""Simulated rides whose truth is known: a vehicle, a receiver, and the files they write."""

from ridelog.simulate.disturbances import Disturbance, Settling
from ridelog.simulate.log import Place, to_track
from ridelog.simulate.machine import Machine, random_machine
from ridelog.simulate.presets import RECEIVER_KINDS, ReceiverKind, preset
from ridelog.simulate.receiver import Observation, Receiver
from ridelog.simulate.spans import Span, Surroundings
from ridelog.simulate.truth import STEP_S, BestMean, Truth, TwoWay
from ridelog.simulate.vehicle import Ride
from ridelog.simulate.wobble import Wobble, hard_steering, steady_hand, weave
from ridelog.simulate.write_gpx import gpx_text
from ridelog.simulate.write_nmea import nmea_text

__all__ = [
    "RECEIVER_KINDS",
    "STEP_S",
    "BestMean",
    "Disturbance",
    "Machine",
    "Observation",
    "Place",
    "Receiver",
    "ReceiverKind",
    "Ride",
    "Settling",
    "Span",
    "Surroundings",
    "Truth",
    "TwoWay",
    "Wobble",
    "gpx_text",
    "hard_steering",
    "nmea_text",
    "preset",
    "random_machine",
    "steady_hand",
    "to_track",
    "weave",
]
