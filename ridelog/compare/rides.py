"""The rides of one side of a comparison."""

from ridelog.analysis.subject import MeasuredRide

Rides = tuple[MeasuredRide, ...]
