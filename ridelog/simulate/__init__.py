"""Simulated rides whose truth is known: a vehicle, a receiver, and the files they write."""

from ridelog.simulate.disturbances import Disturbance, Settling
from ridelog.simulate.machine import Machine, random_machine
from ridelog.simulate.presets import RECEIVER_KINDS, ReceiverKind, preset
from ridelog.simulate.receiver import Observation, Receiver
from ridelog.simulate.spans import Span, Surroundings
from ridelog.simulate.truth import STEP_S, BestMean, Truth, TwoWay
from ridelog.simulate.vehicle import Ride
from ridelog.simulate.wobble import Wobble, hard_steering, steady_hand, weave

__all__ = [
    "RECEIVER_KINDS",
    "STEP_S",
    "BestMean",
    "Disturbance",
    "Machine",
    "Observation",
    "Receiver",
    "ReceiverKind",
    "Ride",
    "Settling",
    "Span",
    "Surroundings",
    "Truth",
    "TwoWay",
    "Wobble",
    "hard_steering",
    "preset",
    "random_machine",
    "steady_hand",
    "weave",
]
