"""Simulated rides whose truth is known: a vehicle, a receiver, and the files they write."""
