"""What the machine did when."""
