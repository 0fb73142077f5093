"""A receiver beside the machine: what it sends, kept byte for byte, and whether it is ready."""
