"""What a receiver does to its own log, recognised and allowed for."""
